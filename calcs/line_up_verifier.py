"""What a step pressurises and proves, found by filling the cavities one after another.

This holds the planner to its word, so it shares nothing with it but the types: no module of the planner is imported
here, and none imports from here.
"""

from collections import deque
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from calcs.lineups import Element, LineUp, Proof, System


@dataclass(frozen=True, slots=True)
class Shown:
    """What a step comes to.

    Attributes:
        pressurised: the cavities pressure reaches.
        drained: the cavities that reach a vent.
        shows: every (element, side) it proves at its pressure, asked for or not; none where the step is not valid.
        faults: why it is not valid, in words.
    """

    pressurised: frozenset[str]
    drained: frozenset[str]
    shows: frozenset[tuple[str, str]]
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Coverage:
    """What steps come to together.

    Attributes:
        shown: what each step comes to, in their order.
        unproved: the proofs no valid step gives at their pressure or more.
    """

    shown: tuple[Shown, ...]
    unproved: tuple[Proof, ...]

    @property
    def faults(self) -> tuple[tuple[str, ...], ...]:
        """Return why each step is not valid, nothing for a valid one."""
        return tuple(each.faults for each in self.shown)


def check(system: System, proofs: Collection[Proof], steps: Sequence[LineUp]) -> Coverage:
    """Tell what is wrong with each step, and which proofs none of them gives."""
    shown = tuple(simulate(system, step) for step in steps)
    unproved = tuple(
        proof
        for proof in proofs
        if not any(
            (proof.element, proof.side) in each.shows and step.pressure >= proof.high
            for step, each in zip(steps, shown, strict=True)
        )
    )
    return Coverage(shown, unproved)


def simulate(system: System, step: LineUp) -> Shown:
    """Pressurise a system as a step says and tell what happens."""
    passable = [element for element in system.elements if element.id not in step.closed]
    pressurised = _filled(passable, {step.pump_point} & set(system.cavities))
    drained = _filled(passable, set(system.vents), backwards=True)
    faults = tuple(_faults(system, step, pressurised))
    shows = frozenset() if faults else frozenset(_shows(system, step, pressurised, drained))
    return Shown(frozenset(pressurised), frozenset(drained), shows, faults)


def _filled(passable: Sequence[Element], sources: set[str], *, backwards: bool = False) -> set[str]:
    """Return the cavities that open elements let the sources fill; `backwards`, those that run out into them."""
    filled, edge = set(sources), deque(sources)
    while edge:
        here = edge.popleft()
        for element in passable:
            if here in element.between:
                beyond = element.far_from(here)
                if beyond not in filled and element.lets_through(beyond if backwards else here):
                    filled.add(beyond)
                    edge.append(beyond)
    return filled


def _shows(system: System, step: LineUp, pressurised: set[str], drained: set[str]) -> list[tuple[str, str]]:
    shows = []
    for element in system.elements:
        for side in element.between:
            stands_against = element.id in step.closed and side in pressurised
            if stands_against and element.far_from(side) in drained - pressurised:
                shows.append((element.id, side))
    return shows


def _faults(system: System, step: LineUp, pressurised: set[str]) -> list[str]:
    return [
        *_misnamed(system, step),
        *(f"{vent} is open to the air and would be pressurised." for vent in system.vents if vent in pressurised),
        *_not_holding(system, step, pressurised),
        *_not_closing(system, step),
        *_overrated(system, step, pressurised),
    ]


def _misnamed(system: System, step: LineUp) -> list[str]:
    faults = []
    if step.pump_point not in system.pump_points:
        faults.append(f"No pump can be lined up to {step.pump_point}.")
    if step.pipe not in system.pipe_strings:
        faults.append(f"{step.pipe} is not among the pipe that can stand in the hole.")
    if not step.pressure > 0:
        faults.append("The step has no pressure.")
    known = {element.id for element in system.elements}
    return faults + [f"There is no element {name}." for name in sorted(step.closed - known)]


def _not_holding(system: System, step: LineUp, pressurised: set[str]) -> list[str]:
    faults = []
    for element in system.elements:
        inside = [cavity for cavity in element.between if cavity in pressurised]
        if element.id in step.closed and len(inside) == 1 and inside[0] not in element.holds_from:
            faults.append(f"{element.id} does not hold pressure from {inside[0]}.")
    return faults


def _not_closing(system: System, step: LineUp) -> list[str]:
    on = "an empty hole" if step.pipe == "none" else f"{step.pipe} pipe"
    return [
        f"{element.id} does not close on {on}."
        for element in system.elements
        if element.id in step.closed and element.closes_on is not None and step.pipe not in element.closes_on
    ]


def _overrated(system: System, step: LineUp, pressurised: set[str]) -> list[str]:
    cavities = [
        f"The pressure is over the rating of {cavity}."
        for cavity in sorted(pressurised)
        if step.pressure > system.cavity_ratings.get(cavity, step.pressure)
    ]
    elements = [
        f"The pressure is over the rating of {element.id}."
        for element in system.elements
        if step.pressure > element.rating and not pressurised.isdisjoint(element.between)
    ]
    return cavities + elements
