"""A pressure system to be: cavities and elements as they will be written, before any of them stands in the database."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from calcs.units import Quantity
from equipment.models import ClosesWith, ComponentKind, ElementKind, HoldsFrom, Measured, Position
from equipment.queries.pressure_systems import PREVENTER_KINDS

_LONGEST: Final = 60
_ON_STRING: Final = frozenset({ComponentKind.KELLY_VALVE, ComponentKind.SAFETY_VALVE, ComponentKind.INSIDE_BOP})
Amount = Measured | Quantity | str | None


@dataclass
class PlannedCavity:
    """A cavity to be: `limited_by` are the positions whose components bound its rating."""

    name: str
    part: str
    is_pump_point: bool = False
    is_vent: bool = False
    rating: Amount = None
    limited_by: list[Position] = field(default_factory=list)


@dataclass(frozen=True)
class PlannedElement:
    """An element to be, between two planned cavities."""

    name: str
    kind: str
    well_side: PlannedCavity
    far_side: PlannedCavity
    holds_from: str
    position: Position | None = None
    closes_with: str = ClosesWith.ANY
    normally_closed: bool = False
    rating: Amount = None


@dataclass
class PlannedSystem:
    """Cavities and elements to be, in the order they are listed in."""

    cavities: list[PlannedCavity] = field(default_factory=list)
    elements: list[PlannedElement] = field(default_factory=list)

    def cavity(self, name: str, part: str, *, pump: bool = False, vent: bool = False) -> PlannedCavity:
        """Add a cavity; a name that is taken or too long is made to fit."""
        made = PlannedCavity(fitting(name, {cavity.name for cavity in self.cavities}), part, pump, vent)
        self.cavities.append(made)
        return made

    def rename(self, cavity: PlannedCavity, name: str) -> None:
        """Give a cavity another name; it is made to fit as `cavity` does."""
        cavity.name = fitting(name, {other.name for other in self.cavities if other is not cavity})

    def stand(
        self,
        position: Position,
        well_side: PlannedCavity,
        far_side: PlannedCavity,
        *,
        closes_with: str = ClosesWith.ANY,
        normally_closed: bool = False,
    ) -> None:
        """Add the element that stands in a position, holding from where its kind usually does."""
        self.elements.append(
            PlannedElement(
                position.name,
                position.kind,
                well_side,
                far_side,
                usual_side(position.kind),
                position,
                closes_with,
                normally_closed,
            )
        )

    def stand_unlisted(
        self,
        name: str,
        kind: str,
        well_side: PlannedCavity,
        far_side: PlannedCavity,
        *,
        closes_with: str = ClosesWith.ANY,
        shut: bool = False,
    ) -> None:
        """Add an element that is no position of the stack; `shut` tells of drilling."""
        named = fitting(name, {element.name for element in self.elements})
        self.elements.append(
            PlannedElement(named, kind, well_side, far_side, usual_side(kind), None, closes_with, shut)
        )

    def with_rating_of_unlisted(self, rating: Amount) -> "PlannedSystem":
        """Return it with a rating for every element that is no position of the stack."""
        elements = [e if e.position is not None else replace(e, rating=rating) for e in self.elements]
        return PlannedSystem(self.cavities, elements)


def usual_side(kind: str) -> str:
    """Return the sides from which an element of the kind usually holds (common practice).

    The far side of a test plug is the bore over it.
    """
    if kind in PREVENTER_KINDS | _ON_STRING | {ElementKind.CHECK_VALVE}:
        return HoldsFrom.WELL_SIDE
    if kind == ElementKind.TEST_PLUG:
        return HoldsFrom.FAR_SIDE
    return HoldsFrom.NONE if kind == ElementKind.CHOKE else HoldsFrom.BOTH


def fitting(name: str, taken: Iterable[str]) -> str:
    """Return the name, cut to what fits and numbered where it is taken."""
    known = set(taken)
    cut, number = name[:_LONGEST], 1
    while cut in known:
        number += 1
        tail = f" ({number})"
        cut = name[: _LONGEST - len(tail)] + tail
    return cut
