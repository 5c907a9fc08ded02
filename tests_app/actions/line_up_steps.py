"""Changing the steps of a plan by hand: add, change, move, pin, take out. What they prove is the verifier's to say."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import F, Max

from accounts.models import User
from calcs.errors import InputError
from calcs.lineups import System
from calcs.units import Dimension
from equipment.errors import Refused
from equipment.models import Measured
from tests_app.actions.line_up_plans import hold_plan, mark_plan_changed, step_words
from tests_app.models import LineUpPlan, LineUpStep, PlanState
from tests_app.queries.line_up_copies import system_from
from trail import entries

MOST_STEPS: Final = 60
"""More than the usual test of any stack has several times over; more is a slip."""
_ASIDE: Final = 10_000


@dataclass(frozen=True)
class StepSpec:
    """A line-up as typed: its pressure with a unit, such as ``5000 psi``; every element not closed is open."""

    pump_point: str
    pipe: str
    pressure: str
    closed: Collection[str]


@transaction.atomic
def add_line_up(plan: LineUpPlan, spec: StepSpec, *, version: int, by: User, at: datetime) -> LineUpStep:
    """Add a line-up after the others; it is pinned, so that planning again keeps it.

    Raises Refused naming the field of the spec, and RecordIsStale when the plan changed since `version`.
    """
    held = _hold(plan, version)
    last = held.steps.aggregate(last=Max("order"))["last"] or 0
    if last >= MOST_STEPS:
        raise Refused("", f"A plan has no more than {MOST_STEPS} steps.", "Take one out first.")
    step = LineUpStep(plan=held, order=last + 1, is_pinned=True, by_hand=True)
    _write(step, spec, system_from(held.system))
    mark_plan_changed(held)
    _tell("line-up.added", step, by=by, at=at)
    return step


@transaction.atomic
def change_line_up(step: LineUpStep, spec: StepSpec, *, version: int, by: User, at: datetime) -> LineUpStep:
    """Change a line-up; it is pinned from then on. Raises as `add_line_up`."""
    held, own = _hold_step(step, version)
    before = _told(own)
    own.is_pinned = own.by_hand = True
    _write(own, spec, system_from(held.system))
    mark_plan_changed(held)
    _tell("line-up.changed", own, by=by, at=at, before=before)
    return own


@transaction.atomic
def move_line_up(step: LineUpStep, *, to_order: int, version: int, by: User, at: datetime) -> LineUpStep:
    """Put a line-up at another place in the order; the others make room. Raises Refused naming `to_order`."""
    held, own = _hold_step(step, version)
    last = held.steps.count()
    if not 1 <= to_order <= last:
        raise Refused("to_order", f"There is no place {to_order}.", f"Give a place from 1 to {last}.")
    before = _told(own)
    others = [one for one in held.steps.order_by("order") if one.pk != own.pk]
    _in_order(held, [*others[: to_order - 1], own, *others[to_order - 1 :]])
    mark_plan_changed(held)
    _tell("line-up.moved", own, by=by, at=at, before=before)
    return own


@transaction.atomic
def pin_line_up(step: LineUpStep, *, pinned: bool, version: int, by: User, at: datetime) -> LineUpStep:
    """Pin a line-up, so that planning again keeps it, or let it go."""
    held, own = _hold_step(step, version)
    before = _told(own)
    own.is_pinned = pinned
    own.save()
    mark_plan_changed(held)
    _tell("line-up.pinned" if pinned else "line-up.unpinned", own, by=by, at=at, before=before)
    return own


@transaction.atomic
def remove_line_up(step: LineUpStep, *, version: int, by: User, at: datetime) -> None:
    """Take a line-up out of its plan; those after it move up."""
    held, own = _hold_step(step, version)
    before, told = _told(own), own.pk
    own.delete()
    _in_order(held, list(held.steps.order_by("order")))
    mark_plan_changed(held)
    own.pk = told
    entries.write("line-up.removed", own, by=by, at=at, rig_number=held.rig_id, before=before)


def _in_order(plan: LineUpPlan, steps: Collection[LineUpStep]) -> None:
    """Number steps anew; by a place aside, since no two may have one number at any moment."""
    plan.steps.update(order=F("order") + _ASIDE)
    for order, step in enumerate(steps, start=1):
        step.order = order
        step.save()


def _write(step: LineUpStep, spec: StepSpec, system: System) -> None:
    """Write a spec to a step. What names nothing of the system is refused; what is not valid the page says."""
    if spec.pump_point not in system.pump_points:
        raise Refused("pump_point", "No pump can be lined up there.", f"Choose {_or(system.pump_points)}.")
    if spec.pipe not in system.pipe_strings:
        raise Refused("pipe", "This is none of the pipe strings.", f"Choose {_or(system.pipe_strings)}.")
    known = {element.id for element in system.elements}
    unknown = sorted(set(spec.closed) - known)
    if unknown:
        raise Refused("closed", f"The pressure system has no {_or(unknown)}.", "Choose elements of the list.")
    step.pump_point, step.pipe, step.closed = spec.pump_point, spec.pipe, sorted(set(spec.closed))
    step.pressure = _pressure(spec.pressure)
    step.full_clean(exclude=("plan", "opened_as", "closed"))
    step.save()


def _pressure(given: str) -> Measured:
    try:
        pressure = Measured.of(given, Dimension.PRESSURE, field="pressure")
    except InputError as error:
        raise Refused("pressure", error.reason, error.remedy) from error
    if pressure.si <= 0:
        raise Refused("pressure", "A step has a pressure over zero.", "Give one, with its unit.")
    return pressure


def _or(names: Collection[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} or {last}" if first else last


def _hold(plan: LineUpPlan, version: int) -> LineUpPlan:
    held = hold_plan(plan, version=version, at_rest=True)
    if held.finds_leak:
        raise Refused("", "The steps of a search for a leak hang on each other's outcome.", "Plan a test of its own.")
    if held.state != PlanState.READY:
        raise Refused("", "This plan was not worked out: it has no steps to change.", "Plan it again first.")
    return held


def _hold_step(step: LineUpStep, version: int) -> tuple[LineUpPlan, LineUpStep]:
    held = _hold(step.plan, version)
    own = held.steps.filter(pk=step.pk).first()
    if own is None:
        raise Refused("", "This step was taken out.", "Look at the plan as it stands now.")
    own.plan = held
    return held, own


def _told(step: LineUpStep) -> dict[str, Any]:
    return {**entries.snapshot(step), "step": step_words(step)}


def _tell(event: str, step: LineUpStep, *, by: User, at: datetime, before: dict[str, Any] | None = None) -> None:
    after = _told(step)
    was, became = entries.changes(before, after) if before is not None else (None, after)
    entries.write(event, step, by=by, at=at, rig_number=step.plan.rig_id, before=was, after=became)
