"""Why no step can give a proof: the least that would have to be otherwise for one to give it.

Each rule of a valid step may be broken here at a price; what the cheapest step breaks is what stands in the way.
"""

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Final

from ortools.sat.python import cp_model

from calcs.line_up_model import Clockless, StepModel
from calcs.line_up_regions import Ground
from calcs.lineups import Element, Proof, System, Unprovable

PRICES: Final = {"rating": 10, "pipe": 11, "drain": 12, "hold": 13, "source": 30, "vent": 45}
"""How readily a rule is named as the reason: what is nearest to hand first, a vent under pressure last."""
NOT_FOUND_IN_TIME: Final = "No step was found for it within the time, and it was not shown that there is none."


def unprovable(
    ground: Ground, places: Collection[int], undecided: Collection[int], time: Clockless
) -> list[Unprovable]:
    """Return the proofs of these places, with the reason for each."""
    whys = {place: why(ground.system, ground.proofs[place], time) for place in places}
    whys |= dict.fromkeys(undecided, NOT_FOUND_IN_TIME)
    return [Unprovable(ground.proofs[place], whys[place]) for place in sorted(whys)]


def why(system: System, proof: Proof, time: Clockless) -> str:
    """Return in words what keeps every step from giving the proof."""
    if proof.side in system.vents:
        return f"{proof.side} is open to the air: no pressure stands there."
    bent = _Bent(proof.side)
    step = StepModel(Ground(system, (proof,)), system.pipe_strings, (proof.high,), bent.slack)
    step.model.add_bool_or(step.proved[0])
    step.model.minimize(sum(PRICES[kind] * broken for (kind, _), broken in bent.broken.items()))
    solver, status = time.solve(step.model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return "No step gives it; the time did not suffice to find out why."
    broken = [of for of, variable in bent.broken.items() if solver.value(variable)]
    low = [name for kind, name in broken if kind == "rating" and name != proof.element]
    others = [_sentence(system, proof, kind, name) for kind, name in broken if kind != "rating" or name not in low]
    return " ".join([*others, *_too_low(low)])


def in_series(system: System, names: Collection[str], time: Clockless) -> bool:
    """Tell whether one way through the system, no cavity passed twice, leads through all of these elements."""
    node = {cavity: index for index, cavity in enumerate(system.cavities, 1)}
    model = cp_model.CpModel()
    arcs = [(index, index, model.new_bool_var("")) for index in node.values()]
    arcs += [
        arc
        for index in node.values()
        for arc in ((0, index, model.new_bool_var("")), (index, 0, model.new_bool_var("")))
    ]
    for element in system.elements:
        one, other = (node[cavity] for cavity in element.between)
        ways = [(one, other, model.new_bool_var("")), (other, one, model.new_bool_var(""))]
        arcs += ways
        if element.id in names:
            model.add_exactly_one(way for _, _, way in ways)
    model.add_circuit(arcs)
    _, status = time.solve(model)
    return status in (cp_model.OPTIMAL, cp_model.FEASIBLE)


@dataclass(slots=True)
class _Bent:
    """Lets a step off every rule, and keeps which one by which variable.

    Attributes:
        side: the one cavity that may be pressurised without a pump.
        broken: the variables, by kind and name of what is let off.
    """

    side: str
    broken: dict[tuple[str, str], cp_model.IntVar] = field(default_factory=dict)

    def slack(self, model: cp_model.CpModel, kind: str, name: str) -> list[cp_model.IntVar]:
        """Return the variable that lets off this rule, the same each time it is asked for."""
        if kind == "source" and name not in ("", self.side):
            return []
        of = (kind, self.side if kind == "source" else name)
        if of not in self.broken:
            self.broken[of] = model.new_bool_var("")
        return [self.broken[of]]


def _sentence(system: System, proof: Proof, kind: str, name: str) -> str:
    """Say what one broken rule means."""
    if kind == "hold":
        return _not_held(system, proof, *name.split("\n"))
    if kind == "pipe":
        return _not_closed(_element(system, name))
    if kind == "rating":
        return "Its own rating is under the test pressure."
    if kind == "drain":
        return f"{name} is never vented while {proof.side} is under pressure, so that no leak would be seen."
    if kind == "source":
        return (
            f"No pump point reaches {name}, unless it is pumped through {proof.element} itself or what must stay shut."
        )
    return f"{name} is open to the air and would be pressurised: nothing shuts it off."


def _too_low(names: list[str]) -> list[str]:
    """Say that what would be pressurised as well is rated too low."""
    if not names:
        return []
    if len(names) == 1:
        return [f"{names[0]} would be pressurised too, and its rating is under the test pressure."]
    listed = f"{', '.join(names[:-1])} and {names[-1]}"
    return [f"{listed} would be pressurised too, and their ratings are under the test pressure."]


def _not_held(system: System, proof: Proof, name: str, side: str) -> str:
    element = _element(system, name)
    if name != proof.element:
        return f"{name} would have to hold pressure from {side}, which it does not."
    if element.holds_from:
        return f"It holds one way only, from {element.far_from(side)}."
    return "It holds no pressure when it is closed."


def _not_closed(element: Element) -> str:
    if not element.closes_on:
        return f"{element.id} closes on no pipe size offered."
    sizes = " or ".join(sorted(element.closes_on))
    return f"{element.id} closes on {sizes} only, and no step that gives this proof has that in the hole."


def _element(system: System, name: str) -> Element:
    return next(element for element in system.elements if element.id == name)
