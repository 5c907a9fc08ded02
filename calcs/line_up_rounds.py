"""The order of steps that changes the pipe least often and moves the fewest elements, and what is moved between two.

The first and the last movement are from and to the drilling line-up. The order is the best there is for the line-ups
given (a shortest round through all of them, by CP-SAT); what does not matter to a step is then left as the steps before
and after it have it, and the order is found anew. Which of several equally short plans is put in order is not searched.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from ortools.sat.python import cp_model

from calcs.line_up_model import Clockless
from calcs.line_up_order import moved_in
from calcs.lineups import LineUp, System

ROUNDS: Final = 4
"""How often order and free elements are settled in turn; seldom more than two change anything."""

Serves = Callable[[int, LineUp], bool]
"""Tells whether a line-up is valid and proves what the step of that place is there for."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A line-up and the place of the step it is one for."""

    place: int
    line_up: LineUp


def nearest(system: System, like: frozenset[str], line_up: LineUp, serves: Callable[[LineUp], bool]) -> LineUp:
    """Return the line-up with all it does not need as `like` has it."""
    for element in system.elements:
        if (element.id in line_up.closed) != (element.id in like):
            other = _with(line_up, line_up.closed ^ {element.id})
            if serves(other):
                line_up = other
    return line_up


def in_order(system: System, variants: Sequence[Sequence[LineUp]], serves: Serves, time: Clockless) -> list[LineUp]:
    """Return one line-up of each step (a step has one for each pipe it may be done on), in the best order."""
    placed = [[Placed(place, one) for one in several] for place, several in enumerate(variants)]
    if not variants:
        return []
    best: list[Placed] = []
    for _ in range(ROUNDS):
        found = _smoothed(system, _round(system, placed, time), serves)
        if best and _cost(system, found) >= _cost(system, best):
            break
        best = found
        placed = [[each] for each in found]
    return [each.line_up for each in best]


def _with(line_up: LineUp, closed: frozenset[str]) -> LineUp:
    return LineUp(line_up.pump_point, line_up.pipe, line_up.pressure, closed)


def _cost(system: System, placed: Sequence[Placed]) -> tuple[int, int]:
    steps = [each.line_up for each in placed]
    return sum(one.pipe != other.pipe for one, other in pairwise(steps)), moved_in(system, steps)


def _round(system: System, placed: Sequence[Sequence[Placed]], time: Clockless) -> list[Placed]:
    """Return one of each in the order of the shortest round from the drilling line-up and back."""
    nodes = [each for several in placed for each in several]
    model = cp_model.CpModel()
    arcs = _arcs(system, nodes, len(placed))
    links = [(tail, head, model.new_bool_var(""), cost) for (tail, head), cost in arcs.items()]
    left_out = [model.new_bool_var("") for _ in nodes]
    model.add_circuit(
        [(tail, head, link) for tail, head, link, _ in links]
        + [(node + 1, node + 1, out) for node, out in enumerate(left_out)]
    )
    for place in range(len(placed)):
        model.add_exactly_one(~left_out[node] for node, each in enumerate(nodes) if each.place == place)
    model.minimize(sum(cost * link for _, _, link, cost in links))
    solver, status = time.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return sorted((several[0] for several in placed), key=lambda each: each.line_up.pipe)
    following = {tail: head for tail, head, link, _ in links if solver.value(link)}
    order, here = [], following[0]
    while here:
        order.append(nodes[here - 1])
        here = following[here]
    return order


def _arcs(system: System, nodes: Sequence[Placed], steps: int) -> Mapping[tuple[int, int], int]:
    """Return what each step after each other costs; 0 is the drilling line-up, a change of pipe outweighs all moves."""
    change = 2 * len(system.elements) * (steps + 1)
    arcs = {}
    for tail, one in enumerate(nodes, 1):
        arcs[0, tail] = arcs[tail, 0] = len(one.line_up.closed ^ system.normally_closed)
        for head, other in enumerate(nodes, 1):
            if one.place != other.place:
                changed = one.line_up.pipe != other.line_up.pipe
                arcs[tail, head] = len(one.line_up.closed ^ other.line_up.closed) + change * changed
    return arcs


def _smoothed(system: System, order: Sequence[Placed], serves: Serves) -> list[Placed]:
    """Leave each element as it stands before and after a run of steps, where none of them needs it otherwise."""
    order = list(order)
    for element in system.elements:
        start = 0
        while start < len(order):
            end = _run_end(order, element.id, start)
            turned = [_turned(each, element.id) for each in order[start:end]]
            if _stands_out(system, order, element.id, start, end) and all(
                serves(each.place, each.line_up) for each in turned
            ):
                order[start:end] = turned
            start = end
    return order


def _run_end(order: Sequence[Placed], name: str, start: int) -> int:
    state = name in order[start].line_up.closed
    end = start
    while end < len(order) and (name in order[end].line_up.closed) == state:
        end += 1
    return end


def _stands_out(system: System, order: Sequence[Placed], name: str, start: int, end: int) -> bool:
    """Tell whether the element is moved both before and after the run."""
    before = order[start - 1].line_up.closed if start else system.normally_closed
    after = order[end].line_up.closed if end < len(order) else system.normally_closed
    state = name in order[start].line_up.closed
    return (name in before) != state and (name in after) != state


def _turned(each: Placed, name: str) -> Placed:
    return Placed(each.place, _with(each.line_up, each.line_up.closed ^ {name}))
