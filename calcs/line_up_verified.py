"""A plan that has passed the verifier: what pages, tasks, commands and the API ask for.

The planner and its solver take a second and sixty megabytes to load, so they are loaded at the first question.
"""

import importlib
from collections.abc import Callable, Sequence
from functools import cache

from calcs.line_up_verifier import check
from calcs.lineups import Plan, Proof, System


class PlanRefusedError(RuntimeError):
    """The planner returned a plan that does not do what it says: a fault of the planner, not of the question."""


def verified_plan(system: System, proofs: Sequence[Proof], *, seconds: float = 10.0) -> Plan:
    """Return the plan with the fewest steps, once the verifier has found every step valid and every proof given."""
    found: Plan = _planner()(system, proofs, seconds=seconds)
    verify(system, proofs, found)
    return found


def verify(system: System, proofs: Sequence[Proof], plan: Plan) -> None:
    """Raise PlanRefusedError where a step is not valid, or a proof is neither given nor said to be unprovable."""
    coverage = check(system, proofs, plan.steps)
    wrong = [f"step {number}: {fault}" for number, faults in enumerate(coverage.faults, 1) for fault in faults]
    left_out = set(coverage.unproved) - {each.proof for each in plan.unprovable}
    wrong += [f"{proof.element} from {proof.side} is not proved" for proof in coverage.unproved if proof in left_out]
    if wrong:
        raise PlanRefusedError("; ".join(wrong))


@cache
def _planner() -> Callable[..., Plan]:
    planner: Callable[..., Plan] = importlib.import_module("calcs.line_up_planner").plan
    return planner
