"""Where an event of a history stands on file: the record, the work, the installation, the section, the deferral."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any, Final

from calcs.conditions import in_utc
from calcs.recurrence import Deferred, Event, EventKind, Section, Tested
from equipment.models import HoleSection, Installation, PrechargeCheck, Rig, ServiceEvent
from tests_app.models import Completion, Deferral, Postponement, Record, RecordKind, What
from tests_app.queries.deriving import Subject


class Place(StrEnum):
    """What kind of row an event stands on."""

    RECORD = "record"
    WORK = "work"
    COMPONENT = "component"
    SECTION = "section"
    DEFERRAL = "deferral"
    BANK = "bank"
    CONTROL_ITEM = "control"


@dataclass(frozen=True, slots=True)
class Origin:
    """A row an event stands on: where it is shown, by its key, and what it is called."""

    place: Place
    pk: int
    words: str


_KINDS: Final[Mapping[What, tuple[str, ...]]] = {
    What.PRESSURE: (RecordKind.PRESSURE,),
    What.FUNCTION: (RecordKind.FUNCTION, RecordKind.PRESSURE),
    What.DRAWDOWN: (RecordKind.DRAWDOWN,),
    What.PUMP: (RecordKind.PUMP,),
}
"""Which kinds of record can renew what; a pressure test counts as a function test where a rule lets it."""

_Rows = dict[tuple[Any, ...], Origin]


@dataclass(frozen=True)
class Origins:
    """Every row of a rig that an event may stand on, found again by its moment."""

    records: _Rows = field(default_factory=dict)
    work: _Rows = field(default_factory=dict)
    placed: _Rows = field(default_factory=dict)
    sections: _Rows = field(default_factory=dict)
    deferrals: _Rows = field(default_factory=dict)
    checks: _Rows = field(default_factory=dict)
    waited: Mapping[str, Sequence[Postponement]] = field(default_factory=dict)

    @classmethod
    def of(cls, rig: Rig) -> "Origins":
        """Read them. Eight queries."""
        return cls(_records(rig), _work(rig), _placed(rig), _sections(rig), _deferrals(rig), _checks(rig), _waited(rig))

    def find(self, event: Event | None, what: What, subject: Subject, key: str) -> Origin | None:
        """Return where an event of an obligation stands on file; None where that can't be told."""
        if event is None:
            return None
        if isinstance(event, Tested):
            return self._tested(event, what, subject)
        at = in_utc(event.at)
        if isinstance(event, Section):
            return self.sections.get((at,))
        if isinstance(event, Deferred):
            return self.deferrals.get((key, at))
        if subject.control_item is not None:
            return Origin(Place.CONTROL_ITEM, subject.control_item.pk, subject.control_item.name)
        if subject.component is not None:
            found = self.placed.get((event.kind, subject.component.pk, at))
            return found or Origin(Place.COMPONENT, subject.component.pk, str(subject.component))
        return None

    def waiting(self, key: str, begin: datetime, end: datetime | None) -> list[Postponement]:
        """Return why a test was not safe to make at some time between two moments, the first first."""
        return [
            one
            for one in self.waited.get(key, ())
            if (end is None or one.made_at < end) and (one.ended_at is None or one.ended_at > begin)
        ]

    def _tested(self, test: Tested, what: What, subject: Subject) -> Origin | None:
        over = None if test.concluded is None else in_utc(test.concluded)
        for kind in _KINDS.get(what, ()):
            found = self.records.get((kind, in_utc(test.started), over)) or self.records.get(
                (kind, in_utc(test.started), None)
            )
            if found is not None:
                return found
        bank = subject.bank.pk if subject.bank is not None else None
        return self.work.get((what.value, in_utc(test.started), over)) or self.checks.get((bank, in_utc(test.started)))


def _records(rig: Rig) -> _Rows:
    rows = Record.objects.filter(rig=rig, discarded_at__isnull=True).order_by("number")
    found: _Rows = {}
    columns = ("pk", "number", "kind", "started_at", "concluded_at", "sealed_at")
    for pk, number, kind, started, concluded, sealed in rows.values_list(*columns):
        # The later number overwrites: a correction is what counts, and holds the same times.
        found[kind, started, concluded if sealed else None] = Origin(Place.RECORD, pk, f"Test {number}")
    return found


def _work(rig: Rig) -> _Rows:
    rows = Completion.objects.filter(rig=rig, withdrawn_at__isnull=True)
    columns = ("pk", "what", "started_at", "concluded_at")
    return {
        (what, started, concluded): Origin(Place.WORK, pk, str(What(what).label))
        for pk, what, started, concluded in rows.values_list(*columns)
    }


def _placed(rig: Rig) -> _Rows:
    installed = Installation.objects.filter(position__stack__rig=rig).select_related("component", "position")
    found: _Rows = {}
    for one in installed:
        words = f"{one.component} in {one.position.name}"
        found[EventKind.INSTALLED, one.component_id, one.installed_at] = _component(one.component_id, words)
    for work in ServiceEvent.objects.filter(component__rig=rig).select_related("component"):
        words = f"{work.get_kind_display()}, {work.component}"
        for kind in (EventKind.REPAIRED, EventKind.OUT_OF_SERVICE, EventKind.BACK_IN_SERVICE):
            found[kind, work.component_id, work.at] = _component(work.component_id, words)
    return found


def _component(pk: int, words: str) -> Origin:
    return Origin(Place.COMPONENT, pk, words)


def _sections(rig: Rig) -> _Rows:
    rows = HoleSection.objects.filter(well__rig=rig, begins_at__isnull=False).select_related("well")
    return {(one.begins_at,): Origin(Place.SECTION, one.well_id, str(one)) for one in rows}


def _deferrals(rig: Rig) -> _Rows:
    rows = Deferral.objects.filter(rig=rig, withdrawn_at__isnull=True)
    return {
        (one.obligation_key, one.granted_at): Origin(Place.DEFERRAL, one.pk, f"Deferral {one.reference}")
        for one in rows
    }


def _checks(rig: Rig) -> _Rows:
    rows = PrechargeCheck.objects.filter(bank__component__rig=rig).values_list("bank", "taken_at")
    return {(bank, taken_at): Origin(Place.BANK, bank, "Precharge check") for bank, taken_at in rows}


def _waited(rig: Rig) -> dict[str, list[Postponement]]:
    found: dict[str, list[Postponement]] = defaultdict(list)
    for one in Postponement.objects.filter(rig=rig).order_by("made_at", "pk"):
        found[one.obligation_key].append(one)
    return dict(found)
