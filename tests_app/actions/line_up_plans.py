"""Plans of line-ups: asked for by a person, worked out by a worker, and asked for again with what was pinned kept.

How a plan is worked out stands in `actions.line_up_answers`.
"""

from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Final

from django.db import IntegrityError, transaction
from django.db.models import Max

from accounts.models import User
from calcs.errors import InputError
from calcs.line_up_checks import check_system
from equipment.actions.saving import aware
from equipment.errors import Refused
from equipment.models import HoleSection, Stack
from equipment.queries.pressure_systems import contents_of, pressure_system_of
from tests_app.after_commit import enqueue
from tests_app.documents.line_up_drawing import sketch_copy
from tests_app.errors import RecordIsStale
from tests_app.models import Barrier, LineUpPlan, LineUpStep, PlanState, TestReason
from tests_app.queries.line_up_copies import (
    system_copy,
    system_from,
)
from tests_app.queries.line_up_needs import askable, circumstances_for
from trail import entries
from trail.actors import Actor

CLAIM_LASTS: Final = timedelta(minutes=5)
"""Longer than the task that plans may run (`tests_app.tasks`), so that two never work on one plan."""
_TRIES: Final = 5


@transaction.atomic
def make_plan(
    stack: Stack,
    *,
    section: HoleSection | None,
    reason: str,
    barrier: str,
    wanted: Collection[str],
    by: User,
    at: datetime,
) -> LineUpPlan:
    """Ask for a plan that proves what is wanted of a stack, each a position and a side: ``12:below``.

    Raises Refused naming `stack`, `section`, `reason`, `barrier` or `wanted`.
    """
    _refuse_circumstances(stack, section, reason, barrier)
    plan = LineUpPlan(
        rig=stack.rig, stack=stack, section=section, reason=reason, barrier=barrier, made_at=aware(at), made_by=by
    )
    take_copies(plan, wanted, at)
    save_plan(plan)
    tell_plan("line-up-plan.made", plan, by=by, at=at)
    enqueue("tests_app.plan_line_ups", plan_id=plan.pk)
    return plan


@transaction.atomic
def ask_again(plan: LineUpPlan, *, version: int, by: User, at: datetime) -> LineUpPlan:
    """Have the plan worked out again for what stands on the rig now; pinned steps stay, all others are replaced.

    The steps stand until the new ones are there. Raises Refused as `make_plan` does, and RecordIsStale.
    """
    held = hold_plan(plan, version=version, at_rest=True)
    if held.finds_leak:
        raise Refused("", "A search for a leak is not planned again.", "Search again from the failed step.")
    take_copies(held, [f"{copy['position']}:{copy['pressure_from']}" for copy in held.proofs], at)
    held.state, held.claimed_at, held.failure = PlanState.WAITING, None, ""
    mark_plan_changed(held)
    tell_plan("line-up-plan.asked-again", held, by=by, at=at)
    enqueue("tests_app.plan_line_ups", plan_id=held.pk)
    return held


def hold_plan(plan: LineUpPlan, *, version: int | None = None, at_rest: bool = False) -> LineUpPlan:
    """Lock the plan and return it afresh; call it first inside the action's transaction.

    Raises RecordIsStale when it changed since `version`, Refused once a test was opened from it or, with `at_rest`,
    while a worker has it.
    """
    held = LineUpPlan.objects.select_for_update(of=("self",), no_key=True)
    found = held.select_related("rig", "stack__rig", "section", "record").get(pk=plan.pk)
    # A test given up leaves its plan free: another may be opened from it.
    if found.record is not None and found.record.discarded_at is None:
        raise Refused("", "A test was opened from this plan: it stays as it is.", "Change the steps of the test.")
    if at_rest and found.state in (PlanState.WAITING, PlanState.WORKING):
        raise Refused("", "The plan is being worked out.", "Wait until it is there.")
    if version is not None and version != found.version:
        raise RecordIsStale(version, found.version)
    return found


def mark_plan_changed(plan: LineUpPlan) -> None:
    """Save the held plan and count the change, so that a page loaded before it can't write over it."""
    plan.version += 1
    plan.save()


def take_copies(plan: LineUpPlan, wanted: Collection[str], at: datetime) -> None:
    """Take copies of the pressure system and of what each wanted side needs; raises Refused where one can't be had."""
    drawn = pressure_system_of(plan.stack)
    if drawn is None:
        raise Refused(
            "stack", f"No pressure system is drawn up of {plan.stack}.", "Draw it up on the stack's page first."
        )
    under = circumstances_for(plan.stack, section=plan.section, barrier=plan.barrier, reason=plan.reason, at=at)
    contents = contents_of(drawn, at=at)
    known = {one.key: one for one in askable(contents, under=under)}
    unknown = [key for key in wanted if key not in known]
    if unknown or not wanted:
        raise Refused("wanted", "Nothing that can be proved is chosen." if not wanted else _gone(unknown), _CHOOSE)
    chosen = [one for key, one in known.items() if key in set(wanted)]
    for one in chosen:
        if one.refusal:
            raise Refused("wanted", one.refusal, "Or leave it out.")
    plan.proofs = [one.copy() for one in chosen]
    copy = system_copy(contents, plan.proofs, under=under)
    plan.system, plan.edition = {**copy, "sketch": sketch_copy(drawn, system_from(copy))}, under.edition.id
    try:
        check_system(system_from(plan.system))
    except InputError as error:
        raise Refused("stack", f"The pressure system can't be planned on: {error.reason}", error.remedy) from error


_CHOOSE: Final = "Choose at least one element and side of the list."


def _gone(keys: Collection[str]) -> str:
    return f"{len(keys)} of what was chosen is not on the list as the stack stands now ({', '.join(sorted(keys)[:3])})."


def save_plan(plan: LineUpPlan) -> None:
    """Save a new plan under the next number of its rig; of two at once the other takes the next."""
    for _ in range(_TRIES):
        highest = LineUpPlan.objects.filter(rig=plan.rig_id).aggregate(highest=Max("number"))["highest"]
        plan.number = int(highest or 0) + 1
        try:
            with transaction.atomic():
                plan.save(force_insert=True)
                return
        except IntegrityError:
            if not LineUpPlan.objects.filter(rig_id=plan.rig_id, number=plan.number).exists():
                raise
    raise Refused("", "Many plans are being made at once.", "Try again.")


def _refuse_circumstances(stack: Stack, section: HoleSection | None, reason: str, barrier: str) -> None:
    if reason not in TestReason.values:
        raise Refused(
            "reason", f"“{reason[:40]}” is no reason for a test.", f"Give one of: {', '.join(TestReason.values)}."
        )
    if barrier not in Barrier.values:
        raise Refused("barrier", f"“{barrier[:40]}” closes no bore.", f"Give one of: {', '.join(Barrier.values)}.")
    if section is not None and section.well.rig_id != stack.rig_id:
        raise Refused("section", "This hole section belongs to another rig.", "Choose a section of this rig.")
    if section is None and barrier != Barrier.STUMP:
        raise Refused(
            "section",
            "The wellhead and casing of the hole section limit what may be tested, and none is chosen.",
            "Choose the hole section; without one only the test stump closes the bore.",
        )


def step_words(step: LineUpStep) -> str:
    """Return a step in one line, as the trail keeps it."""
    return f"{step.order}: {step.pump_point}, pipe {step.pipe}, {step.pressure}, closed {', '.join(step.closed)}"


def tell_plan(event: str, plan: LineUpPlan, *, by: Actor, at: datetime) -> None:
    """Write what became of a plan into the trail."""
    told = {
        "state": plan.state,
        "reason": plan.reason,
        "barrier": plan.barrier,
        "edition": plan.edition,
        "section": plan.section_id,
        "proofs": [f"{copy['element']} from {copy['side']}" for copy in plan.proofs],
        "steps": [step_words(step) for step in plan.steps.order_by("order")],
        "lower_bound": plan.lower_bound,
        "failure": plan.failure,
    }
    entries.write(event, plan, by=by, at=at, rig_number=plan.rig_id, after=told)
