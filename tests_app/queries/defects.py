"""Defects and how each stands: open, put right, shown cured by a retest, or closed by a disposition."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from functools import cached_property
from typing import Final

from django.db.models import Prefetch, QuerySet

from calcs.errors import InputError
from calcs.failure_reports import ReportDue, reports_due
from calcs.rules import Edition
from equipment.models import Component, ControlItem, Rig
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from tests_app import rulebook
from tests_app.models import ClosedBy, Defect, DefectAction, DefectClosing, Disposition, Record, Severity
from tests_app.queries.corrections import counts_instead_of

_WITH: Final = (
    "rig",
    "component",
    "position",
    "control_item",
    "line__step__record__superseded_by",
    "function_line__record__superseded_by",
)
_BULKY: Final = (
    "line__step__verdict",
    "line__step__limits",
    "line__step__record__content",
    "line__step__record__superseded_by__content",
    "function_line__verdict",
    "function_line__record__content",
    "function_line__record__superseded_by__content",
)


class DefectState(StrEnum):
    """How a defect stands, what presses most first."""

    OPEN = "open"
    PUT_RIGHT = "put-right"
    PROVEN = "proven"
    DISPOSED = "disposed"


OPEN_STATES: Final = frozenset({DefectState.OPEN, DefectState.PUT_RIGHT})


@dataclass(frozen=True)
class Standing:
    """A defect with how it stands; its actions, closings and reports are read with it.

    Attributes:
        defect: what was found.
        edition: the rules its reports go by; None without rules, or where they can't be read any more.
    """

    defect: Defect
    edition: Edition | None = field(default=None, compare=False)

    @cached_property
    def closing(self) -> DefectClosing | None:
        """The closing that counts: the last one whose test, if it is one, was not corrected since."""
        return next((one for one in reversed(self._closings) if not fell_away(one)), None)

    @cached_property
    def fallen(self) -> DefectClosing | None:
        """The last closing, where the test it rests on was corrected since and nothing else closes it."""
        return self._closings[-1] if self._closings and self.closing is None else None

    @property
    def _closings(self) -> list[DefectClosing]:
        return list(self.defect.closings.all())

    @cached_property
    def last_work(self) -> DefectAction | None:
        """What put it right last."""
        done = [one for one in self.defect.actions.all() if one.puts_right or one.service_event_id]
        return max(done, key=lambda one: one.done_at, default=None)

    @property
    def state(self) -> DefectState:
        """How it stands now."""
        if self.closing is not None:
            return DefectState.PROVEN if self.closing.closed_by == ClosedBy.RETEST else DefectState.DISPOSED
        return DefectState.PUT_RIGHT if self.last_work is not None else DefectState.OPEN

    @property
    def is_open(self) -> bool:
        """Tell whether nothing closes it."""
        return self.state in OPEN_STATES

    @property
    def stops_operations(self) -> bool:
        """Tell whether operations stop for it now."""
        return self.is_open and self.defect.severity == Severity.STOPS

    @property
    def in_error(self) -> bool:
        """Tell whether nothing had failed."""
        return self.closing is not None and self.closing.disposition == Disposition.IN_ERROR

    @cached_property
    def reports(self) -> tuple[ReportDue, ...]:
        """What the rules ask to be reported of it; nothing of what was entered in error."""
        if self.edition is None or self.in_error:
            return ()
        done = {one.rule_id: one.done_at for one in self.defect.reports.all()}
        return reports_due(self.edition, found_at=self.defect.found_at, done=done, zone=self.defect.rig.zone)

    @property
    def next_report(self) -> ReportDue | None:
        """The report that is due next, of those not done that have a date."""
        ahead = [(one.due_at, one) for one in self.reports if one.done_at is None and one.due_at is not None]
        return min(ahead, key=lambda dated: dated[0])[1] if ahead else None

    def report_is_late(self, at: datetime) -> bool:
        """Tell whether a report that was not made is overdue."""
        return any(one.done_at is None and one.is_late(at) for one in self.reports)


def record_of(row: Defect | DefectClosing) -> Record | None:
    """Return the test a defect was found in, or the one that closed it; None of neither."""
    if row.line is not None:
        return row.line.step.record
    return row.function_line.record if row.function_line is not None else None


def fell_away(closing: DefectClosing) -> bool:
    """Tell whether the test a closing rests on was corrected since: then it closes nothing any more."""
    record = record_of(closing)
    return record is not None and counts_instead_of(record) is not None


def standings_of(rig: Rig) -> list[Standing]:
    """Return every defect of a rig, the latest found first. A constant number of queries."""
    return _standings(_read(Defect.objects.filter(rig=rig)))


def standings_on(**subject: Component | ControlItem) -> list[Standing]:
    """Return the defects of a component or a control item, the latest found first. A constant number of queries."""
    return _standings(_read(Defect.objects.filter(**subject)))


def defect_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Standing:
    """Return one defect as it stands; raises NotYours (404) or NotAllowed (403)."""
    return _standings([access.checked(user, _read(Defect.objects.filter(pk=pk)).first(), needs=needs)])[0]


def standing_of(defect: Defect) -> Standing:
    """Return one defect as it stands, read afresh."""
    return _standings(_read(Defect.objects.filter(pk=defect.pk)))[0]


def stopping_operations(rig: Rig) -> list[Standing]:
    """Return the open defects of a rig that stop operations. A constant number of queries."""
    found = _standings(_read(Defect.objects.filter(rig=rig, severity=Severity.STOPS)))
    return [one for one in found if one.is_open]


def _read(defects: QuerySet[Defect]) -> QuerySet[Defect]:
    links = ("line__step__record__superseded_by", "function_line__record__superseded_by")
    closings = DefectClosing.objects.select_related(*links).defer(*_BULKY)
    return (
        defects.select_related(*_WITH)
        .defer(*_BULKY)
        .prefetch_related("actions", "reports", Prefetch("closings", queryset=closings))
    )


def _standings(defects: Iterable[Defect]) -> list[Standing]:
    rows = list(defects)
    known = _editions({row.edition for row in rows if row.edition})
    return [Standing(row, known.get(row.edition)) for row in rows]


def _editions(ids: set[str]) -> Mapping[str, Edition]:
    try:
        return rulebook.editions_named(ids)
    except InputError:  # a rig's own copy that no longer fits what it was made from
        return {}
