"""The trail as people read it: what was done, by whom, and what changed from what to what."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.apps import apps
from django.db import models

from accounts.presentation import unit_label
from equipment.models.quantities import grouped
from trail.models import TrailEntry

EVENTS: Final[Mapping[str, str]] = {
    "rig.registered": "Rig registered",
    "rig.amended": "Rig amended",
    "crew.account-opened": "Account opened, and given a role",
    "crew.added": "Given a role",
    "crew.role-changed": "Role changed",
    "crew.removed": "Taken off the rig",
    "well.registered": "Well registered",
    "well.amended": "Well amended",
    "section.added": "Section added",
    "section.amended": "Section amended",
    "section.reworked": "MASP of the section worked out anew",
    "stack.registered": "Stack registered",
    "stack.amended": "Stack amended",
    "control.added": "Control item put on file",
    "control.amended": "Control item amended",
    "control.retired": "Control item taken out of service",
    "pressure-system.drawn-up": "Pressure system drawn up",
    "pressure-system.redrawn": "Pressure system drawn up again",
    "pressure-system.amended": "Pressure system amended",
    "cavity.added": "Cavity added",
    "cavity.amended": "Cavity amended",
    "cavity.removed": "Cavity removed",
    "element.added": "Element added",
    "element.amended": "Element amended",
    "element.removed": "Element removed",
    "position.added": "Position added",
    "position.amended": "Position amended",
    "position.removed": "Position removed",
    "component.registered": "Registered",
    "component.amended": "Amended",
    "component.retired": "Retired",
    "component.reinstated": "Brought back into use",
    "component.installed": "Installed",
    "component.removed": "Removed",
    "installation.corrected": "Times of the installation corrected",
    "instrument.registered": "Registered",
    "instrument.amended": "Amended",
    "instrument.retired": "Retired",
    "document.attached": "Document attached",
    "document.amended": "Document amended",
    "elastomer.amended": "Elastomer amended",
    "service.amended": "Work amended",
    "elastomer.fitted": "Elastomer fitted",
    "elastomer.removed": "Elastomer removed",
    "service.recorded": "Service recorded",
    "service.withdrawn": "Work withdrawn, entered in error",
    "elastomer.withdrawn": "Elastomer withdrawn, entered in error",
    "document.withdrawn": "Document withdrawn, attached in error",
    "bank.registered": "Bank put on file",
    "bank.amended": "Bank amended",
    "bottle.added": "Bottle added",
    "bottle.amended": "Bottle amended",
    "bottle.state-changed": "Bottle put in another state",
    "precharge.recorded": "Precharge read",
    "precharge.corrected": "Precharge reading corrected",
}
_OWN_EVENTS: Final = ("component.registered", "component.amended", "instrument.registered", "instrument.amended")
_PARTS: Final = ("_value", "_unit", "_si")
_HIDDEN: Final = {
    *("id", "created_at", "added_at", "masp_working", "size", "recorded_by", "added_by"),
    *("withdrawn_at", "withdrawn_by", "withdrawn_reason"),
}
_LONGEST: Final = 120


@dataclass(frozen=True)
class Change:
    """One thing that changed; `before` is empty for what was not there."""

    what: str
    before: str
    after: str


@dataclass(frozen=True)
class Told:
    """One entry of the trail in words."""

    at: datetime
    actor: str
    what: str
    subject: str
    reason: str
    changes: tuple[Change, ...]


def told(entries: Iterable[TrailEntry]) -> list[Told]:
    """Return the entries in words, in the order given."""
    return [
        Told(
            at=entry.at,
            actor=entry.actor_name,
            what=EVENTS.get(entry.event, entry.event.replace(".", ": ").replace("-", " ")),
            subject="" if entry.event in _OWN_EVENTS else entry.subject_label,
            reason=entry.reason,
            changes=_changes(entry) if entry.before and entry.after else (),
        )
        for entry in entries
    ]


def _changes(entry: TrailEntry) -> tuple[Change, ...]:
    model = apps.get_model(entry.subject_type)
    before, after = _as_read(entry.before or {}), _as_read(entry.after or {})
    names = [name for name in after if name not in _HIDDEN and before.get(name, "") != after[name]]
    return tuple(Change(_label(model, name), before.get(name, ""), after[name]) for name in names)


def _as_read(columns: Mapping[str, Any]) -> dict[str, str]:
    """Join the columns of each quantity into one text, and write the others as text."""
    read: dict[str, str] = {}
    for column, value in columns.items():
        name = next((column.removesuffix(part) for part in _PARTS if column.endswith(part)), None)
        if name is None:
            read[column] = _text(value)
        elif column.endswith("_value"):
            unit = columns.get(f"{name}_unit", "")
            read[name] = f"{grouped(str(value))} {unit_label(str(unit))}".strip() if value else ""
        elif column.endswith("_unit") and f"{name}_value" not in columns:
            read[name] = unit_label(str(value))
    return read


def _text(value: Any) -> str:
    text = {"None": "", "True": "yes", "False": "no"}.get(str(value), str(value))
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"


def _label(model: type[models.Model], name: str) -> str:
    quantity = vars(model).get(name)
    label = getattr(quantity, "verbose_name", "")
    if not label:
        field = next((field for field in model._meta.concrete_fields if name in (field.name, field.attname)), None)
        label = str(field.verbose_name) if field else name.replace("_", " ")
    return label[:1].upper() + label[1:]
