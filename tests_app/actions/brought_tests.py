"""Tests made elsewhere: brought in as told, confirmed by paper so that dates count from them, and withdrawn.

None is signed here, and no seal covers one: whoever reads it is told so wherever it stands.
"""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, Final, TypedDict, Unpack

from django.db import transaction

from calcs.units import Quantity
from equipment.actions import plausible, saving
from equipment.actions.refusals import refuse_invalid
from equipment.errors import Refused
from equipment.models import NOT_PRESSURE_TESTED, Component, Measured
from tests_app.models import BroughtFile, BroughtTest, What
from trail import entries
from trail.actors import Actor, name_of

BROUGHT_IN: Final = "past-test.brought-in"
CONFIRMED: Final = "past-test.confirmed"
WITHDRAWN: Final = "past-test.withdrawn"
_LONGEST_HOLD: Final = Decimal(24 * 60)


class PastTest(TypedDict, total=False):
    """What a paper of elsewhere says of a test."""

    what: str
    pressure_from: str
    started_at: datetime
    concluded_at: datetime
    passed: bool
    low_pressure: Measured | Quantity | str | None
    high_pressure: Measured | Quantity | str | None
    held_minutes: Decimal | None
    tested_by: str
    certificate_number: str
    remarks: str


@transaction.atomic
def bring_in_test(
    component: Component, *, file: BroughtFile | None = None, by: Actor, at: datetime, **facts: Unpack[PastTest]
) -> BroughtTest:
    """Put a test made elsewhere on file; no date counts from it until it is confirmed.

    Raises ValidationError or Refused naming the field: what is missing, times to come or out of order, a test before
    the component was made, pressures no equipment has, a pressure test without its pressure.
    """
    test = BroughtTest(rig=component.rig, component=component, brought_in_with=file)
    saving.assign_values(test, facts)
    if test.started_at and test.concluded_at and test.concluded_at < test.started_at:
        raise Refused("concluded_at", "It was over before it began.", "Check both times.")
    refuse_invalid(test, exclude=("entered_at", "entered_by"))
    _check_times(test, at)
    _check_pressures(test)
    _refuse_twice(test)
    test.entered_at, test.entered_by = saving.aware(at).astimezone(UTC), name_of(by)
    saving.store_row(test, insert=True)
    entries.write(BROUGHT_IN, test, by=by, at=at, rig_number=test.rig_id, after=entries.snapshot(test))
    return test


@transaction.atomic
def confirm_test(test: BroughtTest, *, reference: str, by: Actor, at: datetime) -> BroughtTest:
    """Say that a test was compared with its paper, which `reference` names: from now on dates count from it.

    Raises Refused: confirmed or withdrawn already, no reference.
    """
    fresh = saving.locked(test)
    if fresh.withdrawn_at is not None:
        raise Refused("", "This test is withdrawn.", "Bring it in anew if it was withdrawn in error.")
    if fresh.confirmed_at is not None:
        raise Refused("", f"{fresh.confirmed_by} confirmed this already.", "Nothing is left to do.")
    named = saving.said(
        reference,
        field="reference",
        reason="The paper it was compared with is missing.",
        remedy="Name the certificate or chart you have in hand, and where it is kept.",
    )
    values = {"confirmed_at": saving.aware(at).astimezone(UTC), "confirmed_by": name_of(by)}
    return _written_later(fresh, {**values, "confirmed_reference": named}, CONFIRMED, by=by, at=at)


@transaction.atomic
def withdraw_test(test: BroughtTest, *, reason: str, by: Actor, at: datetime) -> BroughtTest:
    """Withdraw a test brought in by mistake; it stays on file and counts for nothing. Raises Refused as above."""
    fresh = saving.locked(test)
    if fresh.withdrawn_at is not None:
        raise Refused("", "This test is withdrawn already.", "Nothing is left to do.")
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say what is wrong with it.")
    values = {"withdrawn_at": saving.aware(at).astimezone(UTC), "withdrawn_by": name_of(by), "withdrawn_reason": why}
    return _written_later(fresh, values, WITHDRAWN, by=by, at=at, reason=why)


def _written_later(
    test: BroughtTest, values: dict[str, Any], event: str, *, by: Actor, at: datetime, reason: str = ""
) -> BroughtTest:
    before = entries.snapshot(test)
    saving.assign_values(test, values)
    refuse_invalid(test)
    test.save(update_fields=list(values))
    was, becomes = entries.changes(before, entries.snapshot(test))
    entries.write(event, test, by=by, at=at, rig_number=test.rig_id, before=was, after=becomes, reason=reason)
    return test


def _check_times(test: BroughtTest, at: datetime) -> None:
    saving.not_after(test.started_at, at, field="started_at")
    saving.not_after(test.concluded_at, at, field="concluded_at")
    made = test.component.manufactured_on
    if made is not None and test.started_at.astimezone(test.rig.zone).date() < made:
        raise Refused(
            "started_at", f"{test.component} was made on {made.isoformat()}, after this test.", "Check both days."
        )
    if test.held_minutes is not None and not 0 < test.held_minutes <= _LONGEST_HOLD:
        raise Refused("held_minutes", "A hold lasts over zero and up to 1,440 minutes.", "Check the figure.")


def _check_pressures(test: BroughtTest) -> None:
    low, high = test.low_pressure, test.high_pressure
    if test.what == What.FUNCTION:
        if low or high or test.pressure_from:
            field = "pressure_from" if test.pressure_from else "low_pressure" if low else "high_pressure"
            raise Refused(field, "A function test holds no pressure.", "Leave this empty, or bring in a pressure test.")
        return
    if test.component.kind in NOT_PRESSURE_TESTED:
        kind = test.component.get_kind_display().lower()
        raise Refused("what", f"A {kind} has no pressure test of this kind.", "Enter it under “Work done”.")
    if not test.pressure_from:
        raise Refused("pressure_from", "The side the pressure acted on is missing.", "Read it off the certificate.")
    if high is None:
        raise Refused("high_pressure", "The pressure held is missing.", "Give the lowest of the high hold, with unit.")
    for field, held in (("low_pressure", low), ("high_pressure", high)):
        if held is not None and not plausible.SURFACE.holds(held.si):
            raise Refused(field, f"A pressure held lies {plausible.SURFACE.words}.", "Check the figure and its unit.")
    if low is not None and low.si > high.si:
        raise Refused("low_pressure", "The low hold is over the high one.", "They may have been swapped.")


def _refuse_twice(test: BroughtTest) -> None:
    same = BroughtTest.objects.filter(
        component=test.component,
        what=test.what,
        pressure_from=test.pressure_from,
        concluded_at=test.concluded_at,
        withdrawn_at__isnull=True,
    ).first()
    if same is not None:
        raise Refused(
            "concluded_at",
            f"A test of this kind over at this time is on file: {same.certificate_number}.",
            "Withdraw that one if it is wrong, or give another time.",
        )
