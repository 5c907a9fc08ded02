"""Regions: what a step pressurises, and all it can prove by it.

Which elements a step has to close follows from the cavities it pressurises: those with one end among them. Opening
whatever else there is keeps the region in one piece and drains what lies beyond best, so that no other choice of closed
elements proves more with the same region. Looking for steps is therefore looking for regions.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from calcs.lineups import Element, LineUp, Proof, System


@dataclass(frozen=True, slots=True)
class Region:
    """Cavities under pressure together.

    Attributes:
        cavities: which they are.
        pump_point: where they are pumped from.
        pipes: the pipe strings on which every element around them closes.
        limit: the highest pressure everything in and around them is rated for, gauge, Pa.
        proofs: what it can prove, as places in the list of proofs.
    """

    cavities: frozenset[str]
    pump_point: str
    pipes: frozenset[str]
    limit: float
    proofs: frozenset[int]


@dataclass(frozen=True, slots=True)
class Ground:
    """A system and its proofs, looked up by cavity.

    Attributes:
        system: the system.
        proofs: what is asked of it.
        touching: the elements at each cavity.
        limits: the lowest rating of each cavity and of what touches it, gauge, Pa.
    """

    system: System
    proofs: Sequence[Proof]
    touching: Mapping[str, tuple[Element, ...]] = field(init=False)
    limits: Mapping[str, float] = field(init=False)

    def __post_init__(self) -> None:
        """Look the cavities up."""
        touching: dict[str, tuple[Element, ...]] = dict.fromkeys(self.system.cavities, ())
        for element in self.system.elements:
            for cavity in element.between:
                touching[cavity] += (element,)
        own = self.system.cavity_ratings
        limits = {
            cavity: min((own.get(cavity, float("inf")), *(element.rating for element in elements)))
            for cavity, elements in touching.items()
        }
        object.__setattr__(self, "touching", touching)
        object.__setattr__(self, "limits", limits)

    def around(self, cavities: frozenset[str]) -> list[Element]:
        """Return the elements with one end among the cavities."""
        return [
            element
            for element in self.system.elements
            if (element.between[0] in cavities) != (element.between[1] in cavities)
        ]

    def reached(self, sources: Iterable[str], closed: frozenset[str], *, draining: bool = False) -> frozenset[str]:
        """Return the cavities the sources reach through open elements; `draining`, those that reach the sources."""
        reached = set(sources)
        waiting = list(reached)
        while waiting:
            here = waiting.pop()
            for element in self.touching[here]:
                far = element.far_from(here)
                passes = element.id not in closed and element.lets_through(far if draining else here)
                if far not in reached and passes:
                    reached.add(far)
                    waiting.append(far)
        return frozenset(reached)

    def region(self, cavities: frozenset[str], pump_point: str) -> Region:
        """Return the region these cavities make and what it can prove."""
        around = self.around(cavities)
        closed = frozenset(element.id for element in around)
        pipes = frozenset(
            pipe
            for pipe in self.system.pipe_strings
            if all(element.closes_on is None or pipe in element.closes_on for element in around)
        )
        limit = min(self.limits[cavity] for cavity in cavities)
        return Region(cavities, pump_point, pipes, limit, self.proved(cavities, closed, limit))

    def proved(self, cavities: frozenset[str], closed: frozenset[str], pressure: float) -> frozenset[int]:
        """Return the proofs that pressure in these cavities gives, with these elements closed."""
        drained = self.reached(self.system.vents, closed, draining=True)
        return frozenset(
            place
            for place, proof in enumerate(self.proofs)
            if proof.element in closed
            and proof.side in cavities
            and proof.high <= pressure
            and self.far(proof) in drained - cavities
        )

    def given_by(self, line_up: LineUp) -> frozenset[int]:
        """Return the proofs that a valid line-up gives."""
        cavities = self.reached((line_up.pump_point,), line_up.closed)
        return self.proved(cavities, line_up.closed, line_up.pressure)

    def stands(self, line_up: LineUp) -> bool:
        """Tell whether a line-up is valid."""
        cavities = self.reached((line_up.pump_point,), line_up.closed)
        if not cavities.isdisjoint(self.system.vents) or min(self.limits[each] for each in cavities) < line_up.pressure:
            return False
        shut = [element for element in self.system.elements if element.id in line_up.closed]
        if any(element.closes_on is not None and line_up.pipe not in element.closes_on for element in shut):
            return False
        inside = [(element, [side for side in element.between if side in cavities]) for element in shut]
        return all(len(sides) != 1 or sides[0] in element.holds_from for element, sides in inside)

    def far(self, proof: Proof) -> str:
        """Return the cavity a leak past the element would run into."""
        return next(element for element in self.touching[proof.side] if element.id == proof.element).far_from(
            proof.side
        )
