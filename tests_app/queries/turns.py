"""The moments of a rig's past at which what it owes may have changed, beside the tests and work themselves."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Final

from django.db.models import Q

from calcs.moments import localise
from equipment.models import (
    ControlItem,
    Document,
    Elastomer,
    HoleSection,
    Installation,
    Instrument,
    PrechargeCheck,
    Rig,
    Well,
)
from tests_app.models import Record, TestReason, What
from tests_app.queries.calibrations import calibrations_of
from tests_app.queries.deriving import EVERYTHING, Scope
from tests_app.queries.rules_followed import rules_followed

_BY_SECTION: Final = EVERYTHING.narrowed([What.PRESSURE, What.CASING])
"""What a new hole section asks anew: other pressures, and the casing it hangs under."""
_BY_PLACE: Final = EVERYTHING.narrowed([What.FUNCTION, What.INSPECTION, What.OVERHAUL, What.DOCUMENT])
"""What the rules ask of a stack on the stump, or once it is landed, beside its pressure tests."""
_BANKED: Final = (What.DRAWDOWN, What.PUMP, What.PRECHARGE, What.SHELL)
_ON_STACK: Final = (TestReason.LANDED, TestReason.STUMP)


@dataclass(frozen=True, slots=True)
class Change:
    """A moment, what happened in words, and what has to be worked out anew for it."""

    at: datetime
    words: str
    scope: Scope


def changes(rig: Rig, since: datetime, until: datetime) -> list[Change]:
    """Return the changes after `since` and before `until`, the first first; those of one moment are one."""
    merged: dict[datetime, Change] = {}
    for change in (*_of_rig(rig), *_of_parts(rig)):
        if since < change.at < until:
            known = merged.get(change.at)
            merged[change.at] = change if known is None else _both(known, change)
    return sorted(merged.values(), key=lambda change: change.at)


def _both(known: Change, other: Change) -> Change:
    words = known.words if other.words in known.words else f"{known.words}; {other.words}"
    return Change(known.at, words, known.scope | other.scope)


def _of_rig(rig: Rig) -> Iterator[Change]:
    """Yield what bears on the whole rig: what stands on it, its sections and its rules."""
    for one in Installation.objects.filter(position__stack__rig=rig).select_related("position", "component"):
        yield Change(one.installed_at, f"{one.position.name}: {one.component} put in", EVERYTHING)
        if one.removed_at is not None:
            yield Change(one.removed_at, f"{one.position.name}: {one.component} taken out", EVERYTHING)
    for section in HoleSection.objects.filter(well__rig=rig, begins_at__isnull=False):
        if section.begins_at is not None:
            yield Change(section.begins_at, f"Section {section.name} begun", _BY_SECTION)
    for chosen in rules_followed(rig):
        yield Change(chosen.since, f"Rules {chosen.edition} followed", EVERYTHING)
    on_stack = Record.objects.filter(rig=rig, discarded_at__isnull=True, pressure_test__reason__in=_ON_STACK)
    for began in on_stack.values_list("started_at", flat=True):
        yield Change(began, "Stack tested for being landed, or on the stump", _BY_PLACE)


def _of_parts(rig: Rig) -> Iterator[Change]:
    """Yield what bears on single parts."""
    for item in ControlItem.objects.filter(stack__rig=rig):
        scope = Scope.of(control_items=[item.pk], whats=[What.FUNCTION])
        yield Change(item.in_service_from, f"{item.name} in service", scope)
        if item.retired_at is not None:
            yield Change(item.retired_at, f"{item.name} retired", scope)
    checks = PrechargeCheck.objects.filter(bank__component__rig=rig).values_list("taken_at", "bank__component")
    for taken_at, component in checks:
        yield Change(taken_at, "Precharge read", Scope.of(components=[component], whats=_BANKED))
    banks = list(
        Installation.objects.filter(position__stack__rig=rig, component__bank__isnull=False).values_list(
            "component", flat=True
        )
    )
    for well in Well.objects.filter(rig=rig, spudded_on__isnull=False):
        yield Change(_midnight(rig, well.spudded_on), f"{well} spudded", Scope.of(components=banks, whats=_BANKED))
    yield from _days(rig)


def _days(rig: Rig) -> Iterator[Change]:
    """Yield what is on file by its day: its first moment on the rig's clock counts."""
    placed = Q(component__rig=rig)
    for elastomer in Elastomer.objects.filter(placed, expires_on__isnull=False):
        scope = Scope.of(components=[elastomer.component_id], whats=[What.ELASTOMER])
        yield Change(_midnight(rig, elastomer.installed_on), f"{elastomer.part} fitted", scope)
        if elastomer.removed_on is not None:
            yield Change(_midnight(rig, elastomer.removed_on), f"{elastomer.part} taken out", scope)
    yield from _of_instruments(rig)
    yield from _of_documents(rig)


def _of_instruments(rig: Rig) -> Iterator[Change]:
    instruments = {one.pk: one for one in Instrument.objects.filter(rig=rig)}
    for key, calibrated in calibrations_of(instruments, zone=rig.zone).items():
        scope = Scope.of(instruments=[key], whats=[What.CALIBRATION])
        for one in calibrated[1:]:
            yield Change(_midnight(rig, one.since), f"{instruments[key]} calibrated", scope)
    for instrument in instruments.values():
        if instrument.retired_on is not None:
            scope = Scope.of(instruments=[instrument.pk])
            yield Change(_midnight(rig, instrument.retired_on), f"{instrument} retired", scope)


def _of_documents(rig: Rig) -> Iterator[Change]:
    """Yield when documents that run out, or renew such, were issued; one renewed without a day, when it was added."""
    runs_out = Q(expires_on__isnull=False) | Q(follows__isnull=False)
    for one in Document.objects.filter(runs_out, Q(component__rig=rig) | Q(instrument__rig=rig)):
        scope = Scope.of(components=[one.component_id], instruments=[one.instrument_id], whats=[What.DOCUMENT])
        word = "renewed" if one.follows_id else "issued"
        if one.issued_on is not None:
            yield Change(_midnight(rig, one.issued_on), f"{one.title} {word}", scope)
        elif one.follows_id is not None:
            yield Change(one.added_at, f"{one.title} {word}", scope)


def _midnight(rig: Rig, day: date | None) -> datetime:
    assert day is not None
    return localise(datetime.combine(day, time()), rig.zone)
