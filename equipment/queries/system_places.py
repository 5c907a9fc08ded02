"""Which positions of a stack are still to be given a place in its pressure system, and the pipe it is tested on."""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import QuerySet

from calcs.lineups import NO_PIPE
from equipment.models import (
    Cavity,
    Component,
    ElementKind,
    Measured,
    Position,
    PositionGroup,
    PressureSystem,
    Stack,
    SystemElement,
)
from equipment.queries.stacks import as_installed, positions_of

OUT_OF_REACH = (PositionGroup.CONTROL, PositionGroup.RISER)
"""Groups no test pressure of the stack reaches."""
_ON_PIPE = frozenset({ElementKind.PIPE_RAM, ElementKind.VARIABLE_BORE_RAM})


def shutting_positions(system: PressureSystem, element: SystemElement | None = None) -> QuerySet[Position]:
    """Return the positions something that shuts stands in and that no other element stands for, top first."""
    taken = system.elements.filter(position__isnull=False)
    others = taken.exclude(pk=element.pk) if element else taken
    return _within_reach(system).filter(kind__in=ElementKind.values).exclude(pk__in=others.values("position"))


def bounding_positions(system: PressureSystem, cavity: Cavity | None = None) -> QuerySet[Position]:
    """Return the positions nothing that shuts stands in and that bound no other cavity, top first."""
    taken = system.stack.positions.filter(cavity_limits__isnull=False)
    others = taken.exclude(cavity_limits__cavity=cavity) if cavity else taken
    return _within_reach(system).exclude(kind__in=ElementKind.values).exclude(pk__in=others.values("pk"))


def _within_reach(system: PressureSystem) -> QuerySet[Position]:
    return positions_of(system.stack).exclude(group__in=OUT_OF_REACH)


def usual_pipe_strings(stack: Stack, *, at: datetime) -> list[str]:
    """Return an empty hole and the sizes of the pipe rams made for one size that stand in the stack.

    Without any such ram, the smallest size of those that take several. What else is tested on is then added by hand.
    """
    held = [one.component for one in as_installed(stack, at=at) if one.component is not None]
    rams = [component for component in held if component.kind in _ON_PIPE]
    fixed = [component for component in rams if _takes_one_size(component)]
    return [NO_PIPE, *_smallest(fixed or rams)]


def _takes_one_size(component: Component) -> bool:
    smallest, largest = component.closes_on_smallest, component.closes_on_largest
    return smallest is not None and largest is not None and smallest.si == largest.si


def _smallest(components: Iterable[Component]) -> list[str]:
    sizes: list[Measured] = [one.closes_on_smallest for one in components if one.closes_on_smallest is not None]
    return list(dict.fromkeys(f"{size.text} {size.unit}" for size in sorted(sizes, key=lambda size: size.si)))
