"""One thing that is due on a rig, and how it stands: what the rows of the due list are made of."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from calcs.recurrence import Due, State
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
from tests_app.models import Deferral, Postponement, Record, What
from tests_app.queries.corrections import is_first_of_its_test

__all__ = [
    "CANNOT_BE_WORKED_OUT",
    "FORGOTTEN_AFTER",
    "NEVER_TESTED",
    "NOT_PASSED",
    "STATES",
    "DueItem",
    "What",
    "concluded",
    "is_being_tested",
    "pressing",
]

FORGOTTEN_AFTER: Final = timedelta(days=3)
"""A draft begun longer ago than this no longer counts as a test that is running."""

CANNOT_BE_WORKED_OUT: Final = "cannot-be-worked-out"
NOT_PASSED: Final = "not-passed"
NEVER_TESTED: Final = "never-tested"

_WORST_FIRST: Final = (
    CANNOT_BE_WORKED_OUT,
    State.OVERDUE,
    NOT_PASSED,
    NEVER_TESTED,
    State.DUE_NOW,
    State.DUE_SOON,
    State.IN_PROGRESS,
    State.IN_DATE,
    State.OUT_OF_SERVICE,
)
STATES: Final = tuple(str(state) for state in _WORST_FIRST)
"""Every state of a row, the worst first."""
_LAST: Final = 10_000
"""Order of what stands in no position, after every position."""


@dataclass(frozen=True, kw_only=True)
class DueItem:
    """One requirement on one subject of a rig, and how it stands at a moment.

    Attributes:
        key: key of the obligation, ``pressure-test/installation-12``.
        what: what has to be done.
        subject: on what, such as Upper pipe ram.
        subject_detail: more of it, such as Pipe ram PR-4471.
        part: part of the system, see `tests_app.models.PartOfSystem`.
        zone: the rig's zone.
        stack: the stack it is about or stands in, if any.
        position: where it stands, if it stands in a position.
        component: what stands there.
        installation: since when.
        bank: the bank it is about, where it is about one; the same with the next four.
        control_item: a part of the control system.
        instrument: an instrument.
        document: a paper.
        elastomer: an elastomer.
        last_record: its last passing sealed test that was not corrected, if any.
        last_tested_at: when it was last done well, by record or other work.
        due: when the next must have begun, and why; None where that can't be worked out.
        failed_record: the sealed test in which it last failed, when no passing one came after.
        draft: the draft that tests it now, if any.
        first_owed: which first test is owed, in words, for what was never tested; else empty.
        stood_too_long: whether it was never tested for longer than a passing test would have lasted.
        rule_id: id of the rule in its edition.
        clause: the clause of the interval.
        edition: id of the edition it stands in.
        confidence: how surely the interval is known (see `calcs.rules.Confidence`).
        note: what the reader must know beside the reason.
        error: why the row can't be worked out; empty when it can.
        out_of_tolerance: which bottles' precharge stood out of tolerance when last read, in words; else empty.
        deferral: the deferral that moves its date now, if any.
        postponement: why the test waits now, if it does; its date stays.
        stops_operations: whether work stops while it is overdue.
    """

    key: str
    what: What
    subject: str
    zone: ZoneInfo
    subject_detail: str = ""
    part: str = ""
    stack: Stack | None = None
    position: Position | None = None
    component: Component | None = None
    installation: Installation | None = None
    bank: Bank | None = None
    control_item: ControlItem | None = None
    instrument: Instrument | None = None
    document: Document | None = None
    elastomer: Elastomer | None = None
    last_record: Record | None = None
    last_tested_at: datetime | None = None
    due: Due | None = None
    failed_record: Record | None = None
    draft: Record | None = None
    first_owed: str = ""
    stood_too_long: bool = False
    rule_id: str = ""
    clause: str = ""
    edition: str = ""
    confidence: str = ""
    note: str = ""
    error: str = ""
    out_of_tolerance: str = ""
    deferral: Deferral | None = None
    postponement: Postponement | None = None
    stops_operations: bool = True

    @property
    def state(self) -> str:
        """Return the state's key: one of `calcs.recurrence.State` or of the three kept here."""
        if self.error or self.due is None:
            return CANNOT_BE_WORKED_OUT
        # Overdue stays overdue: that it failed as well is told beside it, never instead of it.
        failed = self.failed_record is not None or self.out_of_tolerance
        if failed and self.due.state not in (State.OVERDUE, State.OUT_OF_SERVICE):
            return NOT_PASSED
        return NEVER_TESTED if self.is_never_tested else self.due.state.value

    @property
    def is_never_tested(self) -> bool:
        """Tell whether no test of it was ever concluded, and none is running."""
        due_now = self.due is not None and self.due.state is State.DUE_NOW
        return due_now and self.last_tested_at is None and self.failed_record is None

    @property
    def rank(self) -> int:
        """Return the place among the most pressing: what was never tested for too long stands with the overdue."""
        overlong = self.state == NEVER_TESTED and self.stood_too_long
        return _WORST_FIRST.index(State.OVERDUE if overlong else self.state)

    @property
    def reason(self) -> str:
        """Return why, in words."""
        if self.error or self.due is None:
            return self.error
        said = [self.due.reason, self.first_owed if self.is_never_tested else "", self.note]
        return " ".join(filter(None, said))

    @property
    def since(self) -> datetime | None:
        """Return since when it is there, or is called for."""
        if self.installation is not None:
            return self.installation.installed_at
        return self.due.counts_from if self.due else None


def is_being_tested(record: Record) -> bool:
    """Tell whether a record is a test not sealed yet: the correction of a sealed one tests nothing anew.

    One found wrong before its seal gives way to its correction.
    """
    if record.sealed_at is not None or getattr(record, "superseded_by", None) is not None:
        return False
    return is_first_of_its_test(record)


def concluded(record: Record) -> datetime:
    """Return when a sealed record's test was over."""
    assert record.concluded_at is not None  # the database lets no record be sealed without it
    return record.concluded_at


def pressing(item: DueItem) -> tuple[int, bool, float, int, int, str]:
    """Return the key that sorts the most pressing first."""
    due_at = item.due.due_at.timestamp() if item.due and item.due.due_at else float("inf")
    return (
        item.rank,
        item.failed_record is None,
        due_at,
        item.stack.pk if item.stack else _LAST,
        item.position.order if item.position else _LAST,
        item.key,
    )
