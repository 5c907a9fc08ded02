"""Planning with what holds pressure and shuts nothing: it is proved by any step that presses on its cavity high enough.

Most of it is pressed on by the steps its neighbours need anyway. What is left over is planned through an element that
stands against the same cavity: to prove that one, the cavity has to be pressurised. The bound stays that of what the
planner was asked for first, so that such a plan claims to have the fewest steps only where it reaches that bound.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from calcs.line_up_planner import plan
from calcs.lineups import Plan, Proof, System, Unprovable
from tests_app.queries.line_up_copies import unproved_by


def plan_with_shells(copy: Mapping[str, Any], system: System, proofs: Sequence[Proof], *, seconds: float) -> Plan:
    """Return the steps that give every proof that can be given, those of shells among them."""
    plain = [proof for proof in proofs if proof.element not in copy["shells"]]
    shells = [proof for proof in proofs if proof.element in copy["shells"]]
    first = plan(system, plain, seconds=seconds) if plain else Plan((), 0)
    left = unproved_by(copy, system, shells, first.steps)
    if not left:
        return first
    stand_ins, refused = _stand_ins(system, left, plain)
    whole = _with_stand_ins(system, plain, stand_ins, seconds) if stand_ins else first
    unprovable = [one for one in whole.unprovable if one.proof in plain] + refused
    bound = max(first.lower_bound, 1 if whole.steps else 0)
    return Plan(whole.steps, bound, tuple(unprovable), first.because if len(whole.steps) == bound else "")


def _with_stand_ins(system: System, plain: Sequence[Proof], stand_ins: Sequence[Proof], seconds: float) -> Plan:
    """Plan both together, each side asked for once, with the higher pressure."""
    highest: dict[tuple[str, str], Proof] = {}
    for proof in (*plain, *stand_ins):
        known = highest.get((proof.element, proof.side))
        if known is None or proof.high > known.high:
            highest[proof.element, proof.side] = proof
    found = plan(system, list(highest.values()), seconds=seconds)
    asked = {(proof.element, proof.side): proof for proof in plain}
    told = [Unprovable(asked.get((one.proof.element, one.proof.side), one.proof), one.why) for one in found.unprovable]
    return Plan(found.steps, found.lower_bound, tuple(told), found.because)


def _stand_ins(system: System, left: Sequence[Proof], plain: Sequence[Proof]) -> tuple[list[Proof], list[Unprovable]]:
    """Return for each shell an element that can be proved from its cavity at its pressure, or why there is none."""
    found: list[Proof] = []
    refused: list[Unprovable] = []
    for shell in left:
        stand_in, why = _stand_in(system, shell, {(proof.element, proof.side) for proof in plain})
        if stand_in is None:
            refused.append(Unprovable(shell, why))
        else:
            found.append(stand_in)
    return found, refused


def _stand_in(system: System, shell: Proof, asked: set[tuple[str, str]]) -> tuple[Proof | None, str]:
    """Return the first element that can be proved in its place, one asked for anyway if there is, or why none can."""
    around = [element for element in system.elements if shell.side in element.holds_from]
    around.sort(key=lambda element: (element.id, shell.side) not in asked)
    why = "Nothing that stands against its cavity can be closed and hold the pressure."
    for element in around:
        trial = Proof(element.id, shell.side, shell.high)
        answer = plan(system, [trial])
        if answer.steps:
            return trial, ""
        why = answer.unprovable[0].why if answer.unprovable else why
    return None, why
