"""A plan that has passed the verifier."""

from collections.abc import Sequence

from calcs.line_up_planner import SECONDS, plan
from calcs.line_up_verifier import check
from calcs.lineups import Plan, Proof, System


class PlanRefusedError(RuntimeError):
    """The planner returned a plan that does not do what it says: a fault of the planner, not of the question."""


def verified_plan(system: System, proofs: Sequence[Proof], *, seconds: float = SECONDS) -> Plan:
    """Return the plan with the fewest steps, once the verifier has found every step valid and every proof given."""
    found = plan(system, proofs, seconds=seconds)
    verify(system, proofs, found)
    return found


def verify(system: System, proofs: Sequence[Proof], found: Plan) -> None:
    """Raise PlanRefusedError where a step is not valid, or a proof is neither given nor said to be unprovable."""
    coverage = check(system, proofs, found.steps)
    wrong = [f"step {number}: {fault}" for number, faults in enumerate(coverage.faults, 1) for fault in faults]
    left_out = set(coverage.unproved) - {each.proof for each in found.unprovable}
    wrong += [f"{proof.element} from {proof.side} is not proved" for proof in coverage.unproved if proof in left_out]
    if wrong:
        raise PlanRefusedError("; ".join(wrong))
