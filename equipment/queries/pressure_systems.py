"""Pressure systems: the one of a stack, and what the calculations take it for at a moment."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db.models import QuerySet

from calcs import lineups
from calcs.lineups import NO_PIPE
from calcs.units import Dimension, read
from equipment.errors import Refused
from equipment.models import (
    RAM_KINDS,
    Cavity,
    ClosesWith,
    Component,
    ElementKind,
    HoldsFrom,
    Measured,
    PressureSystem,
    Stack,
    SystemElement,
)
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from equipment.queries.stacks import as_installed

BLIND_KINDS: Final = frozenset({ElementKind.BLIND_RAM, ElementKind.BLIND_SHEAR_RAM})
"""Kinds that close on no pipe (common practice)."""
PREVENTER_KINDS: Final = RAM_KINDS | {ElementKind.ANNULAR}
_ROUNDING_M: Final = 1e-6


@dataclass(frozen=True)
class Contents:
    """A pressure system with all that stands in it at one moment.

    Attributes:
        system: the pressure system.
        cavities: in the order they are listed.
        elements: in the order they are listed, each with its two cavities.
        standing: the component in each position of the stack, by the position's key.
        limited_by: keys of the positions whose components bound a cavity, by the cavity's key.
    """

    system: PressureSystem
    cavities: tuple[Cavity, ...]
    elements: tuple[SystemElement, ...]
    standing: Mapping[int, Component]
    limited_by: Mapping[int, tuple[int, ...]]

    def component_of(self, element: SystemElement) -> Component | None:
        """Return the component that stands where the element is, or None."""
        return None if element.position_id is None else self.standing.get(element.position_id)

    def rating_of(self, element: SystemElement) -> Measured | None:
        """Return the element's rating: its component's, else its own, else None."""
        component = self.component_of(element)
        known: Measured | None = component.rated_working_pressure if component else None
        return known if known is not None else element.rating

    def rating_of_cavity(self, cavity: Cavity) -> Measured | None:
        """Return the lowest of the cavity's own rating and those of what stands in it; None without any."""
        parts = [self.standing[key] for key in self.limited_by.get(cavity.pk, ()) if key in self.standing]
        ratings = [cavity.rating, *(component.rated_working_pressure for component in parts)]
        return min((rating for rating in ratings if rating is not None), key=lambda rating: rating.si, default=None)

    def closes_on(self, element: SystemElement) -> frozenset[str] | None:
        """Return the pipe strings the element can close on; None: any and none."""
        strings = pipe_strings_of(self.system)
        if element.kind in PREVENTER_KINDS:
            component = self.component_of(element)
            return frozenset(pipe for pipe in strings if closes_on_pipe(element.kind, component, pipe))
        if element.closes_with == ClosesWith.ANY:
            return None
        bare = frozenset({NO_PIPE})
        return bare if element.closes_with == ClosesWith.NO_PIPE else frozenset(strings) - bare


def pressure_system_of(stack: Stack) -> PressureSystem | None:
    """Return the stack's pressure system, or None before one is drawn up."""
    return PressureSystem.objects.select_related("stack__rig").filter(stack=stack).first()


def pressure_system_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> PressureSystem:
    """Return the pressure system; raises NotYours or NotAllowed."""
    found = PressureSystem.objects.select_related("stack__rig").filter(pk=pk).first()
    return access.checked(user, found, needs=needs)


def cavity_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Cavity:
    """Return the cavity; raises NotYours or NotAllowed."""
    found = Cavity.objects.select_related("system__stack__rig").filter(pk=pk).first()
    return access.checked(user, found, needs=needs)


def element_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> SystemElement:
    """Return the element; raises NotYours or NotAllowed."""
    return access.checked(user, _elements().filter(pk=pk).first(), needs=needs)


def _elements() -> QuerySet[SystemElement]:
    return SystemElement.objects.select_related("system__stack__rig", "well_side", "far_side", "position")


def contents_of(system: PressureSystem, *, at: datetime) -> Contents:
    """Return what stands in the pressure system at the moment. Five queries, however many elements."""
    standing = {
        held.position.pk: held.component for held in as_installed(system.stack, at=at) if held.component is not None
    }
    limits: dict[int, tuple[int, ...]] = {}
    for cavity, position in system.cavities.filter(limits__isnull=False).values_list("pk", "limits__position"):
        limits[cavity] = (*limits.get(cavity, ()), position)
    elements = _elements().filter(system=system)
    return Contents(system, tuple(system.cavities.all()), tuple(elements), standing, limits)


def pipe_strings_of(system: PressureSystem) -> tuple[str, ...]:
    """Return what can stand in the hole; an empty hole where the system states nothing."""
    return tuple(system.pipe_strings) or (NO_PIPE,)


def closes_on_pipe(kind: str, component: Component | None, pipe: str) -> bool:
    """Tell whether a preventer closes on the pipe; of a component that states no sizes, what its kind does.

    A blind or shear ram closes on no pipe. Any other preventer closes on the pipe within its component's sizes, and
    on an open hole only where its component says so (common practice).
    """
    if kind in BLIND_KINDS:
        return pipe == NO_PIPE
    if pipe == NO_PIPE:
        return component is not None and component.closes_on_open_hole
    if component is None:
        return True
    size = read(pipe, Dimension.LENGTH, field="pipe_strings").si(Dimension.LENGTH)
    smallest, largest = component.closes_on_smallest, component.closes_on_largest
    over = smallest is None or size >= smallest.si - _ROUNDING_M
    return bool(over and (largest is None or size <= largest.si + _ROUNDING_M))


def as_system(pressure_system: PressureSystem, *, at: datetime) -> lineups.System:
    """Return the pressure system as the calculations take it, with the components that stand in it at the moment.

    An element goes by its name, a cavity too. Raises Refused naming the elements of which no rating is known.
    """
    return system_in(contents_of(pressure_system, at=at))


def system_in(contents: Contents) -> lineups.System:
    """Return the contents as the calculations take them. Raises Refused as `as_system` does."""
    unrated = [element.name for element in contents.elements if contents.rating_of(element) is None]
    if unrated:
        raise Refused(
            "",
            f"No rating is known of {_listed(unrated)}.",
            "Install the component that stands there with its rating, or give the rating in the pressure system.",
        )
    bounded = ((cavity.name, contents.rating_of_cavity(cavity)) for cavity in contents.cavities)
    return lineups.System(
        elements=tuple(_element(contents, element) for element in contents.elements),
        pump_points=_named(contents.cavities, "is_pump_point"),
        vents=_named(contents.cavities, "is_vent"),
        cavity_ratings={name: rating.si for name, rating in bounded if rating is not None},
        pipe_strings=pipe_strings_of(contents.system),
        normally_closed=frozenset(element.name for element in contents.elements if element.normally_closed),
    )


def _named(cavities: Iterable[Cavity], flag: str) -> tuple[str, ...]:
    return tuple(cavity.name for cavity in cavities if getattr(cavity, flag))


def _element(contents: Contents, element: SystemElement) -> lineups.Element:
    rating = contents.rating_of(element)
    assert rating is not None
    return lineups.Element(
        id=element.name,
        kind=element.kind,
        between=(element.well_side.name, element.far_side.name),
        holds_from=holding_sides(element),
        rating=rating.si,
        closes_on=contents.closes_on(element),
        passes_from=_passing_side(element),
    )


def _passing_side(element: SystemElement) -> str | None:
    """Return the only side a check valve lets through from, the one it does not hold from; None for all else.

    No leak past a valve beyond it would be seen through a check valve that holds against it.
    """
    passing = {element.well_side.name, element.far_side.name} - holding_sides(element)
    return passing.pop() if element.kind == ElementKind.CHECK_VALVE and len(passing) == 1 else None


def holding_sides(element: SystemElement) -> frozenset[str]:
    """Return the names of the cavities from which the element holds pressure when closed."""
    sides = {
        HoldsFrom.BOTH: {element.well_side.name, element.far_side.name},
        HoldsFrom.WELL_SIDE: {element.well_side.name},
        HoldsFrom.FAR_SIDE: {element.far_side.name},
        HoldsFrom.NONE: set(),
    }
    return frozenset(sides[HoldsFrom(element.holds_from)])


def _listed(names: Collection[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last
