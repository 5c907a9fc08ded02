"""One row of a sheet put on file through the action that a person would use, or found there already."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from calcs.sheet_cells import Amount
from equipment.actions import components, installations
from equipment.errors import Refused
from equipment.models import Component, ComponentKind, Installation, Position, Rig
from tests_app.actions import brought_tests
from tests_app.documents.sheet_forms import FORMS, component_values, installation_values, past_test_values
from tests_app.models import BroughtFile, BroughtTest, SheetKind
from trail.actors import Actor

Values = dict[str, Any]


@dataclass(frozen=True)
class Bringing:
    """Who brings in which file, and when."""

    file: BroughtFile
    by: Actor
    at: datetime

    @property
    def rig(self) -> Rig:
        """Return the rig it is brought in on."""
        return self.file.rig


def put_on_file(cells: Mapping[str, str], bringing: Bringing) -> bool:
    """Put a row on file; returns False, and changes nothing, for one that is there as it stands.

    Raises InputError, Refused or ValidationError for what can't be read, what an action refuses, and a row that is on
    file with other values: those are amended on their own pages, where a reason is asked.
    """
    form = FORMS[bringing.file.sheet]
    values = form.read(cells, bringing.rig.zone)
    found = _FINDERS[bringing.file.sheet](values, bringing.rig)
    if found is None:
        _ADDERS[bringing.file.sheet](_known(values), bringing)
        return True
    for column, new, old in form.differing(values, found, bringing.rig.zone):
        raise Refused(
            column.key,
            f"This is on file with another “{column.head}”: {old or 'nothing'}, not {new or 'nothing'}.",
            "Amend it on its own page if the file is right, or take the row out of the file.",
        )
    return False


def _known(values: Mapping[str, Any]) -> Values:
    """Return the values as actions take them; what the file leaves empty is left as the action has it."""
    said = {key: value for key, value in values.items() if value not in (None, "")}
    return {key: str(value) if isinstance(value, Amount) else value for key, value in said.items()}


# Components


def _component(values: Mapping[str, Any], rig: Rig) -> Component | None:
    return Component.objects.filter(rig=rig, kind=values["kind"], serial=values["serial"]).first()


def _find_component(values: Mapping[str, Any], rig: Rig) -> Values | None:
    found = _component(values, rig)
    return component_values(found) if found else None


def _add_component(values: Values, bringing: Bringing) -> None:
    retired_at, reason = values.pop("retired_at", None), values.pop("retired_reason", "")
    if reason and retired_at is None:
        raise Refused("retired_at", "There is a reason for its retirement, but no time.", "Give the time, or neither.")
    row = components.register_component(bringing.rig, by=bringing.by, at=bringing.at, **values)
    if retired_at is not None:
        try:
            components.retire_component(row, reason=reason, retired_at=retired_at, by=bringing.by, at=bringing.at)
        except Refused as refused:
            field = "retired_reason" if refused.field == "reason" else refused.field
            raise Refused(field, refused.reason, refused.remedy) from refused


# Installations


def _find_installation(values: Mapping[str, Any], rig: Rig) -> Values | None:
    found = (
        Installation.objects.filter(
            position=_position(values, rig), component=_standing(values, rig), installed_at=values["installed_at"]
        )
        .select_related("component", "position__stack")
        .first()
    )
    return installation_values(found) if found else None


def _add_installation(values: Values, bringing: Bringing) -> None:
    component, position = _standing(values, bringing.rig), _position(values, bringing.rig)
    removed_at, reason = values.get("removed_at"), values.get("removal_reason", "")
    if removed_at is None:
        if reason:
            raise Refused("removed_at", "There is a reason for its removal, but no time.", "Give the time, or neither.")
        installations.install_component(
            component, position, installed_at=values["installed_at"], by=bringing.by, at=bringing.at
        )
        return
    installations.record_stay(
        component,
        position,
        installed_at=values["installed_at"],
        removed_at=removed_at,
        reason=reason,
        by=bringing.by,
        at=bringing.at,
    )


def _position(values: Mapping[str, Any], rig: Rig) -> Position:
    stack = rig.stacks.filter(name=values["stack"]).first()
    if stack is None:
        raise Refused(
            "stack", f"{rig.name} has no stack named “{values['stack']}”.", "Register it first, or correct the name."
        )
    found: Position | None = stack.positions.select_related("stack__rig").filter(name=values["position"]).first()
    if found is None:
        raise Refused(
            "position", f"{stack.name} has no position named “{values['position']}”.", "Add it first, or correct it."
        )
    return found


def _standing(values: Mapping[str, Any], rig: Rig) -> Component:
    found = _component(values, rig)
    if found is None:
        kind = ComponentKind(values["kind"]).label.lower()
        raise Refused(
            "serial",
            f"{rig.name} has no {kind} with the serial number “{values['serial']}” on file.",
            "Bring in the components first, or correct kind and serial number.",
        )
    return found


# Past tests


def _find_test(values: Mapping[str, Any], rig: Rig) -> Values | None:
    found = (
        BroughtTest.objects.filter(
            component=_standing(values, rig),
            what=values["what"],
            pressure_from=values.get("pressure_from") or "",
            concluded_at=values["concluded_at"],
            withdrawn_at__isnull=True,
        )
        .select_related("component")
        .first()
    )
    return past_test_values(found) if found else None


def _add_test(values: Values, bringing: Bringing) -> None:
    component = _standing(values, bringing.rig)
    facts = {key: value for key, value in values.items() if key not in ("kind", "serial")}
    brought_tests.bring_in_test(component, file=bringing.file, by=bringing.by, at=bringing.at, **facts)


_FINDERS: Final[Mapping[str, Callable[[Mapping[str, Any], Rig], Values | None]]] = {
    SheetKind.COMPONENTS: _find_component,
    SheetKind.INSTALLATIONS: _find_installation,
    SheetKind.TESTS: _find_test,
}
_ADDERS: Final[Mapping[str, Callable[[Values, Bringing], None]]] = {
    SheetKind.COMPONENTS: _add_component,
    SheetKind.INSTALLATIONS: _add_installation,
    SheetKind.TESTS: _add_test,
}
