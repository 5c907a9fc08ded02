"""A pressure system, what has to be proved of it, and the steps that prove it.

A system is cavities (spaces that hold one pressure) joined by elements (annulars, rams, valves, check valves, chokes,
a test plug). A step is pipe in the hole or none, a pump point, a pressure, and which elements are closed; every other
element is open. Pressurised is what can be reached from the pump point through open elements. One that lets through
one way only carries pressure and drains that way only.

A step is valid when

* no vent is pressurised;
* every closed element between a pressurised and an unpressurised cavity can hold from the pressurised side;
* every closed element can close on the pipe of the step;
* the pressure is within the rating of every pressurised cavity and of every element that touches one.

A step proves an element from a side, at the step's pressure, when the element stands on that boundary and its far
cavity drains to a vent through open elements, so that a leak would be seen (common practice).

Pressures are gauge, in Pa. Cavities and elements are named by texts. Pipe is named by a text too; `NO_PIPE` is none.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

NO_PIPE: Final = "none"
"""The name of an empty hole among the pipe strings."""


@dataclass(frozen=True, slots=True)
class Element:
    """Something that closes between two cavities.

    Attributes:
        id: its name, once in a system.
        kind: what it is (`annular`, `pipe-ram`, `gate-valve`…); for words only, what it can do stands beside.
        between: the two cavities it joins when open.
        holds_from: those of the two from which it holds pressure when closed; empty for a choke that seals nothing.
        rating: rated working pressure, gauge, Pa.
        closes_on: the pipe strings it can close on, `NO_PIPE` among them for an empty hole; None: on any and on none.
        passes_from: the one of the two from which anything gets through when it is open, as of a valve that a flow
            the other way shuts by itself; None: either way.
    """

    id: str
    kind: str
    between: tuple[str, str]
    holds_from: frozenset[str]
    rating: float
    closes_on: frozenset[str] | None = None
    passes_from: str | None = None

    def lets_through(self, cavity: str) -> bool:
        """Tell whether what is in `cavity` gets to the other side when it is open."""
        return self.passes_from is None or self.passes_from == cavity

    def far_from(self, cavity: str) -> str:
        """Return the cavity on the other side of it than `cavity`."""
        one, other = self.between
        return other if cavity == one else one


@dataclass(frozen=True, slots=True)
class System:
    """Cavities joined by elements.

    Attributes:
        elements: in the order they are shown in.
        pump_points: cavities a pump can be lined up to.
        vents: cavities open to the air, where a leak would be seen.
        cavity_ratings: rated working pressures of cavities that have one of their own, gauge, Pa.
        pipe_strings: what can stand in the hole, `NO_PIPE` for nothing.
        normally_closed: elements closed in the drilling line-up; every other one is open in it.
    """

    elements: tuple[Element, ...]
    pump_points: tuple[str, ...]
    vents: tuple[str, ...]
    cavity_ratings: Mapping[str, float] = field(default_factory=dict)
    pipe_strings: tuple[str, ...] = (NO_PIPE,)
    normally_closed: frozenset[str] = frozenset()

    @property
    def cavities(self) -> tuple[str, ...]:
        """Return every cavity, in the order the elements name them."""
        named = dict.fromkeys(cavity for element in self.elements for cavity in element.between)
        return tuple(dict.fromkeys((*named, *self.pump_points, *self.vents)))


@dataclass(frozen=True, slots=True)
class Proof:
    """What has to be shown: that an element holds from a side; `high` is the test pressure, gauge, Pa."""

    element: str
    side: str
    high: float


@dataclass(frozen=True, slots=True)
class LineUp:
    """One step: what is closed, on what pipe, from where it is pumped and how high; pressure gauge, Pa."""

    pump_point: str
    pipe: str
    pressure: float
    closed: frozenset[str]


@dataclass(frozen=True, slots=True)
class Unprovable:
    """A proof that no step can give, and why in words."""

    proof: Proof
    why: str


@dataclass(frozen=True, slots=True)
class Plan:
    """Steps that prove all that can be proved.

    Attributes:
        steps: in the order they are done.
        lower_bound: no plan has fewer steps than this.
        unprovable: proofs no step can give.
        because: why no fewer steps will do, in words; empty where nothing shorter than the bound itself explains it.
        undecided: whether the time was over before it was known of every proof whether a step gives it.
    """

    steps: tuple[LineUp, ...]
    lower_bound: int
    unprovable: Sequence[Unprovable] = ()
    because: str = ""
    undecided: bool = False

    @property
    def fewest_proven(self) -> bool:
        """Tell whether no plan has fewer steps."""
        return len(self.steps) == self.lower_bound and not self.undecided
