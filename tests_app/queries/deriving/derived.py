"""What is owed, as worked out: one requirement on one subject, with all that happened to it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from calcs.kept_events import Clock
from calcs.recurrence import TEST, Deadline, Doing, Due, Event, Interval, due
from calcs.rules import Edition, Recurrence, StatedRule
from calcs.stated import Stated
from equipment.models import (
    Bank,
    Component,
    ControlItem,
    Document,
    Elastomer,
    Installation,
    Instrument,
    Position,
    Stack,
)
from tests_app.models import What
from tests_app.queries.due_items import FORGOTTEN_AFTER

_READING: Final = Doing("reading", "Every bottle in service was read, the earliest", "Never read", "Not read")
_DOING: Final[Mapping[What, Doing]] = {
    What.FUNCTION: Doing(
        "function test", "Last passing function test concluded", "Never function tested", "Not passed a function test"
    ),
    What.PRECHARGE: _READING,
    What.CASING: Doing("casing test", "Last passing casing test concluded", installed="Drilled out"),
    What.INSPECTION: Doing("inspection", "Last inspected", "Never inspected", "Not passed an inspection"),
    What.OVERHAUL: Doing("overhaul", "Last overhauled or inspected", "No overhaul or major inspection is on file"),
    What.ELASTOMER: Doing("change of seals", "Last changed", "Never changed"),
    What.CALIBRATION: Doing("calibration", "Last calibrated", "Never calibrated"),
    What.DOCUMENT: Doing("renewal", "Last renewed", "None is on file"),
    What.DRILL: Doing(
        "drill", "Last drill", "No drill is on file", "No passed drill is on file", installed="Equipment in place"
    ),
    What.NOTICE: Doing("notice", "Last given", "None was given"),
    What.REPORT: Doing("report", "Last sent", "None was sent"),
}


def doing_of(what: What, counted_as: str = "") -> Doing:
    """Return how a reason names what has to be done; `counted_as` says what the last time stands for."""
    doing = _DOING.get(what, TEST)
    return replace(doing, last=counted_as) if counted_as else doing


@dataclass(frozen=True, slots=True)
class Requirement:
    """What the rules, the maker or the owner ask: how often, and where that stands.

    Attributes:
        interval: how often; None where only events call for it.
        deadline: where the interval ends.
        rule_id: id of the rule in its edition; empty for a day that stands on a paper.
        clause: where it stands.
        edition: id of the edition; empty for what no edition says.
        confidence: how surely it is known (`calcs.rules.Confidence`).
        title: the requirement in words.
    """

    interval: Interval | None = None
    deadline: Deadline | None = None
    rule_id: str = ""
    clause: str = ""
    edition: str = ""
    confidence: str = ""
    title: str = ""

    @classmethod
    def recurring(cls, recurs: Recurrence, edition: Edition, *, rule_id: str, title: str = "") -> "Requirement":
        """Return what an interval of an edition asks."""
        source = recurs.source
        return cls(recurs.interval, recurs.deadline, rule_id, source.clause, edition.id, source.confidence.value, title)

    @classmethod
    def called(cls, rule: StatedRule, edition: Edition, *, clause: str = "") -> "Requirement":
        """Return what a rule asks that has no interval: only events call for it."""
        return cls(None, None, rule.id, clause or rule.clause, edition.id, rule.confidence.value, rule.title)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What something is owed on: one of these, with what leads to it.

    Attributes:
        key: ``<table>-<pk>``, which with what has to be done makes the obligation's key.
        name: such as Upper pipe ram.
        detail: such as Pipe ram PR-4471.
        part: part of the system, see `tests_app.models.PartOfSystem`.
    """

    key: str
    name: str
    detail: str = ""
    part: str = ""
    stack: Stack | None = None
    position: Position | None = None
    installation: Installation | None = None
    component: Component | None = None
    bank: Bank | None = None
    control_item: ControlItem | None = None
    instrument: Instrument | None = None
    document: Document | None = None
    elastomer: Elastomer | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Derived:
    """One obligation with its whole event history.

    Attributes:
        what: what has to be done.
        subject: on what.
        requirement: what is asked; None where that can't be worked out.
        history: everything that bears on its date, in no order, deferrals included.
        stated: the date or state where no history governs it, else None.
        counted_as: what the last time on file stands for where it was never done, in words.
        last_record: key of its last passing sealed record, as of the moment asked for.
        last_done_at: when it was last done well, by record or other work.
        failed_record: key of the record in which it last failed, when nothing passed after that.
        draft: key of the draft that tests it now.
        first_owed: which first test is owed, in words.
        note: what the reader must know beside the reason.
        out_of_tolerance: which bottles stood out of tolerance when last read.
        stood_too_long_from: never done, it counts with the overdue from here on.
        error: why it can't be worked out; empty when it can.
        stops_operations: whether work stops while it is overdue.
    """

    what: What
    subject: Subject
    requirement: Requirement | None = None
    history: tuple[Event, ...] = ()
    stated: Stated | None = None
    counted_as: str = ""
    last_record: int | None = None
    last_done_at: datetime | None = None
    failed_record: int | None = None
    draft: int | None = None
    first_owed: str = ""
    note: str = ""
    out_of_tolerance: str = ""
    stood_too_long_from: datetime | None = None
    error: str = ""
    stops_operations: bool = True

    @property
    def key(self) -> str:
        """Return the obligation's key: ``pressure-test/installation-12``."""
        return f"{self.what.value}/{self.subject.key}"

    def clock(self, zone: ZoneInfo) -> Clock:
        """Return what its date runs by."""
        asked = self.requirement or Requirement()
        return Clock(asked.interval, asked.deadline, zone, FORGOTTEN_AFTER)

    def due(self, *, at: datetime, zone: ZoneInfo) -> Due | None:
        """Return when it is due, as of a moment; None where that can't be worked out."""
        if self.error or self.requirement is None:
            return None
        if self.stated is not None:
            return self.stated.due(at=at, zone=zone, events=self.history)
        clock = self.clock(zone)
        return due(
            clock.interval,
            clock.deadline,
            self.history,
            at=at,
            zone=zone,
            forget=clock.forget,
            doing=doing_of(self.what, self.counted_as),
        )
