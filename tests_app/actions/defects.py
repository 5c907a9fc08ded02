"""Opening defects, and judging them anew: from a failed line of a signed test, or by hand."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db import transaction
from django.db.models import Max

from equipment.actions import saving
from equipment.errors import Refused
from equipment.models import NOT_PRESSURE_TESTED, Component, ControlItem, Measured, Position, Rig
from equipment.queries.installations import place_of
from tests_app.errors import NoRules
from tests_app.models import (
    BarrierAffected,
    Defect,
    FunctionLine,
    Line,
    Severity,
    ShownBy,
)
from tests_app.queries.defects import Standing, standing_of
from tests_app.queries.found_defects import Failed, failed_line, read_again, why_not_opened
from tests_app.queries.rules_followed import edition_at
from trail import entries
from trail.actors import Actor, name_of

OPENED: Final = "defect.opened"
JUDGED: Final = "defect.judged-anew"


@dataclass(frozen=True)
class Seen:
    """What was seen of a defect, when and by whom, and how it is judged."""

    found_at: datetime
    found_by: str
    description: str
    severity: str
    barrier: str


@dataclass(frozen=True)
class ToShow:
    """What has to be shown before a defect entered by hand counts as cured.

    `pressure_from` and `pressure` are of pressure tests.
    """

    shown_by: str
    pressure_from: str = ""
    pressure: Measured | None = None
    low_asked: bool = True


@transaction.atomic
def open_from_line(line: Line | FunctionLine, *, seen: Seen, by: Actor, at: datetime) -> Defect:
    """Open the defect a failed line of a signed test found: a retest has to show what that line did not.

    Raises Refused: a line that did not fail, a test not signed or corrected, a defect open for it already, a moment
    before the test began or to come, words missing, a severity without a barrier.
    """
    failed = failed_line(read_again(line))
    saving.locked(failed.rig)
    why_not = why_not_opened(failed.line or failed.function_line or line)
    if why_not:
        raise Refused("", why_not, "Look at the test and at the defects of the rig.")
    assert failed.record is not None
    if seen.found_at < failed.record.started_at:
        raise Refused("found_at", "The test had not begun then.", "Give when the failure was found.")
    return _open(failed, seen, by, at)


@transaction.atomic
def open_by_hand(subject: Component | ControlItem, *, seen: Seen, to_show: ToShow, by: Actor, at: datetime) -> Defect:
    """Open a defect of a component, where it stood then, or of a control item.

    Raises Refused: a kind of test it is never put to, a pressure test without side or pressure, a moment before it was
    made or to come, words missing, a severity without a barrier.
    """
    rig = subject.rig if isinstance(subject, Component) else subject.stack.rig
    saving.locked(rig)
    saving.not_after(seen.found_at, at, field="found_at")
    _check_to_show(subject, to_show)
    pressed = to_show.shown_by == ShownBy.PRESSURE
    failed = Failed(
        rig=rig,
        shown_by=to_show.shown_by,
        found_at=seen.found_at,
        component=subject if isinstance(subject, Component) else None,
        control_item=subject if isinstance(subject, ControlItem) else None,
        position=_stood_in(subject, seen.found_at) if isinstance(subject, Component) else None,
        pressure_from=to_show.pressure_from if pressed else "",
        pressure=to_show.pressure if pressed else None,
        low_asked=pressed and to_show.low_asked,
    )
    return _open(failed, seen, by, at)


@transaction.atomic
def judge_anew(defect: Defect, *, severity: str, barrier: str, reason: str, by: Actor, at: datetime) -> Defect:
    """Judge an open defect's severity and barrier anew; the trail keeps both.

    Raises Refused: closed, nothing changed, no reason, a severity without a barrier.
    """
    fresh = require_open(defect).defect
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say what is known now.")
    _check_judgement(severity, barrier)
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, {"severity": severity, "barrier": barrier})
    was, becomes = entries.changes(before, entries.snapshot(fresh))
    if not becomes:
        raise Refused("severity", "It is judged so already.", "Choose what differs, or leave it.")
    saving.store_row(fresh)
    entries.write(
        JUDGED, fresh, by=by, at=saving.aware(at), rig_number=fresh.rig_id, before=was, after=becomes, reason=why
    )
    return fresh


def require_open(defect: Defect) -> Standing:
    """Return the defect as it stands, locked; raises Refused when it is closed."""
    saving.locked(defect)
    standing = standing_of(defect)
    if not standing.is_open:
        raise Refused("", "This defect is closed.", "Open a new one for what failed since.")
    return standing


def _stood_in(component: Component, moment: datetime) -> Position | None:
    placed = place_of(component, at=moment)
    return placed.position if placed else None


def _open(failed: Failed, seen: Seen, by: Actor, at: datetime) -> Defect:
    saving.not_after(seen.found_at, at, field="found_at")
    _check_judgement(seen.severity, seen.barrier)
    last = Defect.objects.filter(rig=failed.rig).aggregate(last=Max("number"))["last"] or 0
    row = Defect(
        rig=failed.rig,
        number=last + 1,
        component=failed.component,
        position=failed.position,
        control_item=failed.control_item,
        subject=failed.subject[:160],
        line=failed.line,
        function_line=failed.function_line,
        edition=_followed(failed.rig, seen.found_at),
        opened_at=saving.aware(at),
        opened_by=name_of(by),
    )
    asked = ("shown_by", "pressure_from", "pressure", "low_asked", "closed_on", "pipe")
    saving.assign_values(row, {name: getattr(failed, name) for name in asked} | _said(seen))
    saving.store_row(row, insert=True)
    entries.write(
        OPENED, row, by=by, at=at, rig_number=failed.rig.pk, after=entries.snapshot(row), reason=row.description
    )
    return row


def _said(seen: Seen) -> dict[str, object]:
    missing = "This is missing."
    return {
        "found_at": seen.found_at,
        "found_by": saving.said(seen.found_by, field="found_by", reason=missing, remedy="Say who found it."),
        "description": saving.said(seen.description, field="description", reason=missing, remedy="Say what was seen."),
        "severity": seen.severity,
        "barrier": seen.barrier,
    }


def _followed(rig: Rig, moment: datetime) -> str:
    """Return the edition the rig followed at a moment; "" where none is chosen."""
    try:
        return edition_at(rig, at=moment).id
    except NoRules:
        return ""


def _check_judgement(severity: str, barrier: str) -> None:
    if severity == Severity.STOPS and barrier == BarrierAffected.NONE:
        raise Refused("barrier", "What stops operations affects a barrier.", "Name the barrier, or judge it less.")


def _check_to_show(subject: Component | ControlItem, to_show: ToShow) -> None:
    if to_show.shown_by != ShownBy.PRESSURE:
        return
    if isinstance(subject, ControlItem) or subject.kind in NOT_PRESSURE_TESTED:
        raise Refused("shown_by", f"{subject} is put to no pressure test.", "Choose another test, or neither.")
    if not to_show.pressure_from:
        raise Refused("pressure_from", "A pressure test is from a side.", "Choose the side it has to hold from.")
    if to_show.pressure is None or to_show.pressure.si <= 0:
        raise Refused("pressure", "A pressure over zero is missing.", "Give what it has to be shown to hold.")
