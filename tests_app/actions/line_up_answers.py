"""Working a plan of line-ups out: claimed by one worker, searched for, and verified before anybody sees it.

The worker claims a plan by a conditional UPDATE; one that dies with it loses it after `CLAIM_LASTS`, and the plan is
found again. What the search answers is held against the verifier, which shares nothing with the planner.
"""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import F, Q

from calcs.errors import InputError
from calcs.line_up_verifier import simulate
from calcs.lineups import LineUp, Plan, Proof, System
from calcs.units import Dimension
from equipment.actions.saving import aware
from equipment.errors import Refused
from equipment.models import Measured
from tests_app.actions.leak_plans import searched
from tests_app.actions.line_up_plans import CLAIM_LASTS, mark_plan_changed, tell_plan
from tests_app.models import LineUpPlan, LineUpStep, PlanState
from tests_app.queries.copies import in_round_unit
from tests_app.queries.limits import quantity_of
from tests_app.queries.line_up_copies import ProofCopy, line_up_from, proof_from, system_from, unproved_by
from tests_app.queries.line_up_shells import plan_with_shells
from trail.actors import Actor

SECONDS: Final = 10.0
"""Time of the solver; then the best plan found is taken, with the bound found."""
_LONGEST_FAILURE: Final = 300
_REFUTED: Final = (
    "The steps found did not stand up to verification and are not shown. This is a fault of ours: please report it."
)

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Answer:
    """What the search for a plan came to: its steps after the pinned ones, or why there are none."""

    steps: Sequence[LineUp] = ()
    lower_bound: int | None = None
    because: str = ""
    unprovable: Sequence[dict[str, str]] = ()
    told_apart: Mapping[str, Any] | None = None
    failure: str = ""


def work_out(plan_id: int, *, by: Actor, at: datetime) -> bool:
    """Work a plan out, unless another worker has it or had it; return whether this call did."""
    aware(at)
    # In a transaction of its own: the claim stands before the search begins, whatever comes of that.
    with transaction.atomic():
        if not _claimed(plan_id, at):
            return False
    plan = LineUpPlan.objects.select_related("failed_step").get(pk=plan_id)
    try:
        found = _answer_of_search(plan) if plan.finds_leak else _answer_of_plan(plan)
    except (InputError, Refused) as refused:
        found = Answer(failure=str(refused))
    except Exception as error:
        # Whatever it was, the page must say that no plan comes, and not wait for ever.
        log.exception("Line-up plan %s was not worked out.", plan_id)
        found = Answer(failure=f"Working it out broke off ({type(error).__name__}). The log of the worker says where.")
    with transaction.atomic():
        return _write(plan, found, by=by, at=at)


def _answer_of_plan(plan: LineUpPlan) -> Answer:
    """Return the fewest steps that prove what the pinned ones leave, held against the verifier."""
    system = system_from(plan.system)
    pinned = [line_up_from(step) for step in plan.steps.filter(is_pinned=True).order_by("order")]
    left = unproved_by(plan.system, system, [proof_from(copy) for copy in plan.proofs], pinned)
    if not left:
        return Answer(lower_bound=len(pinned))
    found = plan_with_shells(plan.system, system, left, seconds=SECONDS)
    if not _stands(plan, system, left, found):
        return Answer(failure=_REFUTED)
    return Answer(
        found.steps,
        lower_bound=len(pinned) + found.lower_bound,
        because=found.because,
        unprovable=[{"element": u.proof.element, "side": u.proof.side, "why": u.why} for u in found.unprovable],
    )


def _answer_of_search(plan: LineUpPlan) -> Answer:
    """Return the fewest further steps that single out the leak of the plan's failed step."""
    steps, told = searched(plan, seconds=SECONDS)
    return Answer([one.step for one in steps], lower_bound=told["most_steps"], told_apart=told)


def _stands(plan: LineUpPlan, system: System, asked: Sequence[Proof], found: Plan) -> bool:
    """Tell whether the verifier finds every step of a plan valid, and every proof that is not called unprovable."""
    refused = {(one.proof.element, one.proof.side) for one in found.unprovable}
    provable = [proof for proof in asked if (proof.element, proof.side) not in refused]
    faults = [fault for step in found.steps for fault in simulate(system, step).faults]
    unproved = unproved_by(plan.system, system, provable, found.steps)
    if faults or unproved:
        log.error("Line-up plan %s was refuted: faults %s, unproved %s.", plan.pk, faults, unproved)
    return not faults and not unproved


def _claimed(plan_id: int, at: datetime) -> bool:
    free = Q(state=PlanState.WAITING) | Q(state=PlanState.WORKING, claimed_at__lte=at - CLAIM_LASTS)
    found = LineUpPlan.objects.filter(free, pk=plan_id)
    return found.update(state=PlanState.WORKING, claimed_at=at, version=F("version") + 1) == 1


def _write(plan: LineUpPlan, found: Answer, *, by: Actor, at: datetime) -> bool:
    """Write what was found, unless the claim ran out and another worker took the plan."""
    held = LineUpPlan.objects.select_for_update(of=("self",), no_key=True).get(pk=plan.pk)
    if held.state != PlanState.WORKING or held.claimed_at != at:
        return False
    if found.failure:
        held.state, held.failure = PlanState.FAILED, found.failure[:_LONGEST_FAILURE]
    else:
        _put_steps(held, found.steps)
        held.state, held.failure, held.worked_at = PlanState.READY, "", at
        held.lower_bound, held.because = found.lower_bound, found.because
        held.unprovable, held.told_apart = list(found.unprovable), dict(found.told_apart or {})
    held.claimed_at = None
    mark_plan_changed(held)
    tell_plan("line-up-plan.failed" if found.failure else "line-up-plan.worked-out", held, by=by, at=at)
    return True


def _put_steps(plan: LineUpPlan, steps: Sequence[LineUp]) -> None:
    """Put steps after the pinned ones, in place of all that are not."""
    for step in plan.steps.filter(is_pinned=False):
        step.delete()
    pinned = list(plan.steps.order_by("order"))
    for order, step in enumerate(pinned, start=1):
        if step.order != order:
            step.order = order
            step.save()
    for order, line_up in enumerate(steps, start=len(pinned) + 1):
        closed = sorted(line_up.closed)
        step = LineUpStep(plan=plan, order=order, pump_point=line_up.pump_point, pipe=line_up.pipe, closed=closed)
        step.pressure = _written(line_up.pressure, plan.proofs)
        step.save()


def _written(pressure: float, proofs: Sequence[ProofCopy]) -> Measured:
    """Return a pressure as the proof it is needed for writes it, so that rounding never takes it under that."""
    needed = (quantity_of(copy["high"]) for copy in proofs if proof_from(copy).high == pressure)
    given = next(needed, None) or in_round_unit(pressure, Dimension.PRESSURE, "psi", "kPa")
    return Measured.of(given, Dimension.PRESSURE, field="pressure")
