"""What is done about a defect once it is open: acted on, reported, and closed by a retest or a disposition."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db import transaction

from calcs.failure_reports import ReportDue
from equipment.actions import saving, service
from equipment.errors import Refused
from equipment.models import ServiceEvent, ServiceKind
from tests_app.actions.defects import require_open
from tests_app.models import (
    ClosedBy,
    Defect,
    DefectAction,
    DefectClosing,
    DefectReport,
    Disposition,
    FunctionLine,
    Line,
    Severity,
)
from tests_app.queries.defects import Standing, standing_of
from tests_app.queries.found_defects import read_again
from tests_app.queries.retests import shortfalls_of
from trail import entries
from trail.actors import Actor, name_of

ACTED: Final = "defect.acted-on"
REPORTED: Final = "defect.reported"
PROVEN: Final = "defect.proven"
DISPOSED: Final = "defect.disposed"


@dataclass(frozen=True)
class Work:
    """What was done about a defect.

    `puts_right`: what failed is believed cured by it. `is_repair`: its tests before count no more.
    """

    done_at: datetime
    done: str
    done_by: str
    parts_fitted: str = ""
    puts_right: bool = False
    is_repair: bool = False


@dataclass(frozen=True)
class Approval:
    """Who approved that a defect is closed without a retest, by which reference, and why."""

    disposition: str
    approved_by: str
    reference: str
    reason: str


@transaction.atomic
def act_on_defect(defect: Defect, *, work: Work, by: Actor, at: datetime) -> DefectAction:
    """Enter what was done about an open defect; a repair is entered on its component as well, in one transaction.

    Raises Refused: closed, a time to come or before it was found, words missing, a repair of no component.
    """
    fresh = require_open(defect).defect
    saving.not_after(work.done_at, at, field="done_at")
    if work.done_at < fresh.found_at:
        raise Refused("done_at", "The defect was not found then.", "Check the time.")
    row = DefectAction(defect=fresh, puts_right=work.puts_right, entered_at=saving.aware(at), entered_by=name_of(by))
    said = {
        "done": _said(work.done, "done", "Say what was done."),
        "done_by": _said(work.done_by, "done_by", "Say who did it."),
        "parts_fitted": work.parts_fitted,
        "done_at": work.done_at,
    }
    saving.assign_values(row, said)
    row.service_event = _repair(fresh, work, by, at) if work.is_repair else None
    _add(row, ACTED, fresh, by, at, row.done)
    return row


def _repair(defect: Defect, work: Work, by: Actor, at: datetime) -> ServiceEvent:
    if defect.component is None:
        raise Refused("is_repair", "Only components are repaired so.", "Leave it: a control item is tested anew.")
    description = f"Defect {defect.number}: {work.done.strip()}"
    return service.record_service(
        defect.component, kind=ServiceKind.REPAIR, finished_at=work.done_at, description=description, by=by, at=at
    )


@transaction.atomic
def report_defect(
    defect: Defect, *, rule_id: str, done_at: datetime, reference: str, by: Actor, at: datetime
) -> DefectReport:
    """Enter when a report a rule asks was sent, or an analysis begun; of two entries the last counts.

    A closed defect may still be reported. Raises Refused: nothing of that rule asked, a time to come, before the
    failure was found or before what it counts from, no reference.
    """
    saving.locked(defect)
    standing = standing_of(defect)
    asked = next((one for one in standing.reports if one.rule.id == rule_id), None)
    if asked is None:
        raise Refused("rule_id", "The rules ask no such report of this defect.", "Choose one that is listed.")
    _check_reported(standing, asked, done_at, at)
    row = DefectReport(
        defect=standing.defect,
        rule_id=asked.rule.id,
        title=asked.rule.title,
        clause=asked.trigger.source.clause,
        entered_at=saving.aware(at),
        entered_by=name_of(by),
    )
    said = _said(reference, "reference", "Give the number or the date of the letter.")
    saving.assign_values(row, {"done_at": done_at, "reference": said})
    _add(row, REPORTED, standing.defect, by, at, said)
    return row


def _check_reported(standing: Standing, asked: ReportDue, done_at: datetime, at: datetime) -> None:
    saving.not_after(done_at, at, field="done_at")
    if asked.counts_from is None:
        raise Refused(
            "rule_id", "What it counts from has not been entered.", "Enter that the analysis has begun first."
        )
    if done_at < max(asked.counts_from, standing.defect.found_at):
        raise Refused("done_at", "That was before what it counts from.", "Check the time.")


@transaction.atomic
def close_by_retest(defect: Defect, line: Line | FunctionLine, *, by: Actor, at: datetime) -> DefectClosing:
    """Close a defect by the line of a later sealed test that shows cured exactly what failed.

    Raises Refused: closed already, or all the line falls short of.
    """
    standing = require_open(defect)
    retest = shortfalls_of(standing, read_again(line))
    if not retest.shows_it_cured:
        raise Refused(
            "line", f"Test {retest.record.number} does not show it cured: {retest.words}.", "Test again what failed."
        )
    row = _closing(standing, ClosedBy.RETEST, by, at)
    row.line = line if isinstance(line, Line) else None
    row.function_line = line if isinstance(line, FunctionLine) else None
    _add(row, PROVEN, standing.defect, by, at, f"Test {retest.record.number}")
    return row


@transaction.atomic
def close_by_disposition(defect: Defect, *, approval: Approval, by: Actor, at: datetime) -> DefectClosing:
    """Close a defect without a retest, as somebody approved.

    Raises Refused: closed already, words missing, accepted as it is while it stops operations.
    """
    standing = require_open(defect)
    if approval.disposition == Disposition.AS_IT_IS and standing.defect.severity == Severity.STOPS:
        raise Refused(
            "disposition",
            "What stops operations is not accepted as it is.",
            "Have it put right and tested, or judge it anew first and say why.",
        )
    row = _closing(standing, ClosedBy.DISPOSITION, by, at)
    said = {
        "disposition": _said(approval.disposition, "disposition", "Choose one."),
        "approved_by": _said(approval.approved_by, "approved_by", "Name who approved it, and their office."),
        "reference": _said(approval.reference, "reference", "Give the number of the approval."),
        "reason": _said(approval.reason, "reason", "Say why no test is needed."),
    }
    saving.assign_values(row, said)
    _add(row, DISPOSED, standing.defect, by, at, row.reason)
    return row


def _closing(standing: Standing, closed_by: str, by: Actor, at: datetime) -> DefectClosing:
    return DefectClosing(
        defect=standing.defect, closed_by=closed_by, entered_at=saving.aware(at), entered_by=name_of(by)
    )


def _said(text: str, field: str, remedy: str) -> str:
    return saving.said(text, field=field, reason="This is missing.", remedy=remedy)


def _add(
    row: DefectAction | DefectReport | DefectClosing, event: str, defect: Defect, by: Actor, at: datetime, reason: str
) -> None:
    saving.store_row(row, insert=True)
    entries.write(event, row, by=by, at=at, rig_number=defect.rig_id, after=entries.snapshot(row), reason=reason)
