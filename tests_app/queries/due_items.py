"""One thing that is due on a rig, and how it stands: what the rows of the due list are made of."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

from calcs.recurrence import Due, State
from equipment.models import Bank, Component, Installation, Position
from tests_app.models import Record
from tests_app.queries.corrections import is_first_of_its_test

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


class What(StrEnum):
    """What has to be done."""

    PRESSURE = "pressure-test"
    DRAWDOWN = "drawdown"
    PUMP = "pump-test"
    PRECHARGE = "precharge"
    SHELL = "shell-test"


@dataclass(frozen=True)
class DueItem:
    """One position of the rig and when what stands in it must be tested or read.

    Attributes:
        position: where it stands.
        component: what stands there.
        installation: since when.
        last_record: its last passing sealed test that was not corrected, if any.
        last_tested_at: when that test was concluded.
        due: when the next must have begun, and why; None where that can't be worked out or only events call for it.
        failed_record: the sealed test in which it last failed, when no passing one came after.
        draft: the draft that tests it now, if any.
        first_test: which first test is owed, in words, for what was never tested; else empty.
        stood_too_long: whether it was never tested for longer than a passing test would have lasted.
        clause: the clause of the interval.
        edition: id of the edition it stands in.
        confidence: how surely the interval is known (see `calcs.rules.Confidence`).
        error: why the row can't be worked out; empty when it can.
        what: what has to be done.
        bank: the bank it is about, where it is about one.
        out_of_tolerance: which bottles' precharge stood out of tolerance when last read, in words; else empty.
    """

    position: Position
    component: Component
    installation: Installation
    last_record: Record | None = None
    last_tested_at: datetime | None = None
    due: Due | None = None
    failed_record: Record | None = None
    draft: Record | None = None
    first_test: str = ""
    stood_too_long: bool = False
    clause: str = ""
    edition: str = ""
    confidence: str = ""
    error: str = ""
    what: What = What.PRESSURE
    bank: Bank | None = None
    out_of_tolerance: str = ""

    @property
    def state(self) -> str:
        """Return the state's key: one of `calcs.recurrence.State` or of the three kept here."""
        if self.error or self.due is None:
            return CANNOT_BE_WORKED_OUT
        # Overdue stays overdue: that it failed as well is told beside it, never instead of it.
        failed = self.failed_record is not None or self.out_of_tolerance
        if failed and self.due.state is not State.OVERDUE:
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
        return f"{self.due.reason} {self.first_test}".strip() if self.is_never_tested else self.due.reason


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


def pressing(item: DueItem) -> tuple[int, bool, float, int, int]:
    """Return the key that sorts the most pressing first."""
    due_at = item.due.due_at.timestamp() if item.due and item.due.due_at else float("inf")
    return (
        item.rank,
        item.failed_record is None,
        due_at,
        item.position.stack_id,
        item.position.order,
    )
