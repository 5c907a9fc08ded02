"""The pressure system of a stack: drawn up from its positions or a plan, then changed cavity by cavity."""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from equipment.actions import saving
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import Cavity, CavityLimit, PressureSystem, Stack, SystemElement
from equipment.queries.planned_system import PlannedCavity, PlannedElement, PlannedSystem
from trail.actors import Actor


@transaction.atomic
def draw_up(
    stack: Stack, plan: PlannedSystem, *, pipe_strings: Sequence[str], by: Actor, at: datetime
) -> PressureSystem:
    """Draw up the pressure system of a stack that has none, by a plan such as `usual_system` gives.

    Raises Refused when the stack has one already.
    """
    saving.locked(stack)
    if PressureSystem.objects.filter(stack=stack).exists():
        raise Refused("", "The pressure system of this stack is drawn up already.", "Change what differs in it.")
    system = PressureSystem(stack=stack, pipe_strings=list(pipe_strings))
    saving.add_row(system, Event.PRESSURE_SYSTEM_DRAWN_UP, by=by, at=at)
    _write(system, plan)
    return system


def _write(system: PressureSystem, plan: PlannedSystem) -> None:
    """Write a plan's cavities and elements; the one entry of the drawing-up tells of them all."""
    made = {id(planned): _cavity(system, planned, order) for order, planned in enumerate(plan.cavities, 1)}
    for order, planned in enumerate(plan.elements, 1):
        _element(system, planned, order, made)


def _cavity(system: PressureSystem, planned: PlannedCavity, order: int) -> Cavity:
    cavity = Cavity(
        system=system,
        order=order,
        part=planned.part,
        is_pump_point=planned.is_pump_point,
        is_vent=planned.is_vent,
    )
    saving.assign_values(cavity, {"name": planned.name, "rating": planned.rating})
    saving.store_row(cavity, insert=True)
    for position in planned.limited_by:
        saving.store_row(CavityLimit(cavity=cavity, position=position), insert=True)
    return cavity


def _element(system: PressureSystem, planned: PlannedElement, order: int, made: dict[int, Cavity]) -> SystemElement:
    element = SystemElement(
        system=system,
        order=order,
        kind=planned.kind,
        position=planned.position,
        well_side=made[id(planned.well_side)],
        far_side=made[id(planned.far_side)],
        holds_from=planned.holds_from,
        closes_with=planned.closes_with,
        normally_closed=planned.normally_closed,
    )
    saving.assign_values(element, {"name": planned.name, "rating": planned.rating})
    saving.store_row(element, insert=True)
    return element
