"""The pressure system of a stack: drawn up from its positions or a plan, then changed cavity by cavity."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, TypedDict, Unpack

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, ProtectedError

from equipment.actions import saving
from equipment.actions.components import Amount
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import Cavity, CavityLimit, PressureSystem, Stack, SystemElement
from equipment.models import Position as StackPosition
from equipment.queries.access import rig_of
from equipment.queries.planned_system import PlannedCavity, PlannedElement, PlannedSystem
from trail import entries
from trail.actors import Actor


class SystemFacts(TypedDict, total=False):
    """What can be amended of a pressure system itself."""

    pipe_strings: Sequence[str]
    remarks: str


class CavityFacts(TypedDict, total=False):
    """What is known of a cavity; `limited_by` are positions without anything that shuts, which bound its rating."""

    name: str
    part: str
    order: int
    rating: Amount
    is_pump_point: bool
    is_vent: bool
    limited_by: Sequence[StackPosition]


class ElementFacts(TypedDict, total=False):
    """What is known of an element."""

    name: str
    kind: str
    order: int
    position: StackPosition | None
    well_side: Cavity
    far_side: Cavity
    holds_from: str
    closes_with: str
    normally_closed: bool
    rating: Amount


@transaction.atomic
def draw_up(
    stack: Stack, plan: PlannedSystem, *, pipe_strings: Sequence[str], by: Actor, at: datetime
) -> PressureSystem:
    """Draw up the pressure system of a stack that has none, by a plan such as `usual_system` gives.

    Raises Refused when the stack has one already, ValidationError for pipe that is no size.
    """
    saving.locked(stack)
    if PressureSystem.objects.filter(stack=stack).exists():
        raise Refused("", "The pressure system of this stack is drawn up already.", "Change what differs in it.")
    system = PressureSystem(stack=stack, pipe_strings=list(pipe_strings))
    saving.store_row(system, insert=True)
    _write(system, plan)
    after = {**entries.snapshot(system), **_contents(system)}
    _tell(Event.PRESSURE_SYSTEM_DRAWN_UP, system, by=by, at=at, after=after)
    return system


@transaction.atomic
def draw_up_afresh(
    system: PressureSystem, plan: PlannedSystem, *, reason: str, by: Actor, at: datetime
) -> PressureSystem:
    """Put a plan in the place of all that is drawn; pipe and remarks stay. Raises Refused without a reason."""
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say why it is drawn up again.")
    fresh = saving.locked(system)
    before = _contents(fresh)
    fresh.elements.all().delete()
    CavityLimit.objects.filter(cavity__system=fresh).delete()
    fresh.cavities.all().delete()
    _write(fresh, plan)
    after = _contents(fresh)
    _tell(Event.PRESSURE_SYSTEM_REDRAWN, fresh, by=by, at=at, before=before, after=after, reason=why)
    return fresh


@transaction.atomic
def amend_pressure_system(
    system: PressureSystem, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[SystemFacts]
) -> PressureSystem:
    """Amend the pipe that can stand in the hole, or the remarks. Raises ValidationError for pipe that is no size."""
    values: dict[str, Any] = dict(facts)
    if "pipe_strings" in values:
        values["pipe_strings"] = list(values["pipe_strings"])
    return saving.amend_row(system, values, Event.PRESSURE_SYSTEM_AMENDED, seen=seen, by=by, at=at)


@transaction.atomic
def add_cavity(system: PressureSystem, *, by: Actor, at: datetime, **facts: Unpack[CavityFacts]) -> Cavity:
    """Add a cavity, the last of all unless an order is given.

    Raises Refused when one of this name is there, for a pump point that is open to the air, and for a position
    that bounds another cavity; ValidationError naming the fields at fault.
    """
    saving.locked(system)
    values: dict[str, Any] = {"order": _after_last(system.cavities.all()), **facts}
    limits = values.pop("limited_by", ())
    cavity = Cavity(system=system)
    saving.assign_values(cavity, values)
    saving.store_row(cavity, insert=True)
    _bound(cavity, limits)
    _tell(Event.CAVITY_ADDED, cavity, by=by, at=at, after=_as_told(cavity))
    return cavity


@transaction.atomic
def amend_cavity(cavity: Cavity, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[CavityFacts]) -> Cavity:
    """Amend a cavity. Raises as `add_cavity` does, and Refused when somebody else saved meanwhile."""
    values: dict[str, Any] = dict(facts)
    limits = values.pop("limited_by", None)
    saving.locked(cavity.system)
    fresh = saving.locked(cavity)
    saving.unchanged(fresh, seen)
    before = _as_told(fresh)
    saving.assign_values(fresh, values)
    saving.store_row(fresh)
    if limits is not None:
        _bound(fresh, limits)
    was, becomes = entries.changes(before, _as_told(fresh))
    if becomes:
        _tell(Event.CAVITY_AMENDED, fresh, by=by, at=at, before=was, after=becomes)
    return fresh


@transaction.atomic
def remove_cavity(cavity: Cavity, *, by: Actor, at: datetime) -> None:
    """Remove a cavity no element touches. Raises Refused naming those that do."""
    saving.locked(cavity.system)
    fresh = saving.locked(cavity)
    before = _as_told(fresh)
    touching = [element.name for element in (*fresh.elements_over.all(), *fresh.elements_under.all())]
    _tell(Event.CAVITY_REMOVED, fresh, by=by, at=at, before=before)
    fresh.limits.all().delete()
    try:
        fresh.delete()
    except ProtectedError as error:
        raise Refused(
            "", f"{', '.join(touching)} stands at this cavity.", "Join that to another cavity, or remove it first."
        ) from error


@transaction.atomic
def add_element(system: PressureSystem, *, by: Actor, at: datetime, **facts: Unpack[ElementFacts]) -> SystemElement:
    """Add an element between two cavities, the last of all unless an order is given.

    Raises Refused when one of this name or of its position is there or both sides are one cavity;
    ValidationError naming the fields at fault, among them a cavity or position of another stack.
    """
    saving.locked(system)
    element = SystemElement(system=system)
    saving.assign_values(element, {"order": _after_last(system.elements.all()), **facts})
    _check_sides(element)
    saving.store_row(element, insert=True)
    _tell(Event.ELEMENT_ADDED, element, by=by, at=at, after=_in_words(element))
    return element


@transaction.atomic
def amend_element(
    element: SystemElement, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[ElementFacts]
) -> SystemElement:
    """Amend an element. Raises as `add_element` does, and Refused when somebody else saved meanwhile."""
    saving.locked(element.system)
    fresh = saving.locked(element)
    saving.unchanged(fresh, seen)
    before = _in_words(fresh)
    saving.assign_values(fresh, facts)
    _check_sides(fresh)
    was, becomes = entries.changes(before, _in_words(fresh))
    if becomes:
        saving.store_row(fresh)
        _tell(Event.ELEMENT_AMENDED, fresh, by=by, at=at, before=was, after=becomes)
    return fresh


@transaction.atomic
def remove_element(element: SystemElement, *, by: Actor, at: datetime) -> None:
    """Remove an element; tests planned or done with it keep what they say of it."""
    saving.locked(element.system)
    fresh = saving.locked(element)
    _tell(Event.ELEMENT_REMOVED, fresh, by=by, at=at, before=_in_words(fresh))
    fresh.delete()


def _tell(event: Event, row: Any, *, by: Actor, at: datetime, **told: Any) -> None:
    entries.write(event, row, by=by, at=saving.aware(at), rig_number=rig_of(row).pk, **told)


def _as_told(cavity: Cavity) -> dict[str, Any]:
    """Return the cavity's columns with the names of the positions that bound its rating."""
    limits = cavity.limits.select_related("position").order_by("position__order")
    return {**entries.snapshot(cavity), "limited_by": ", ".join(limit.position.name for limit in limits)}


def _in_words(element: SystemElement) -> dict[str, Any]:
    """Return the element's columns with what it stands between and in by name: keys say nothing to who reads it."""
    told = entries.snapshot(element)
    for relation in ("well_side", "far_side", "position"):
        del told[f"{relation}_id"]
        told[relation] = str(getattr(element, relation) or "")
    return told


def _contents(system: PressureSystem) -> dict[str, str]:
    """Return what the system holds, for an entry about all of it at once."""
    elements = system.elements.select_related("well_side", "far_side")
    return {
        "cavities": ", ".join(cavity.name for cavity in system.cavities.all()),
        "elements": "; ".join(f"{one.name} between {one.well_side} and {one.far_side}" for one in elements),
    }


def _after_last(rows: Any) -> int:
    return int(rows.aggregate(last=Max("order"))["last"] or 0) + 1


def _check_sides(element: SystemElement) -> None:
    missing = [side for side in ("well_side", "far_side") if getattr(element, f"{side}_id") is None]
    if missing:
        raise ValidationError(dict.fromkeys(missing, "Choose the cavity on this side."))


def _bound(cavity: Cavity, positions: Iterable[StackPosition]) -> None:
    """Let these positions, and no others, bound the cavity's rating."""
    wanted = {position.pk: position for position in positions}
    if any(position.stack_id != cavity.system.stack_id for position in wanted.values()):
        raise Refused("limited_by", "A position of another stack is among them.", "Choose positions of this stack.")
    cavity.limits.exclude(position__in=wanted).delete()
    there = set(cavity.limits.values_list("position", flat=True))
    for key in wanted.keys() - there:
        saving.store_row(CavityLimit(cavity=cavity, position=wanted[key]), insert=True)


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
    _bound(cavity, planned.limited_by)
    return cavity


def _element(system: PressureSystem, planned: PlannedElement, order: int, made: dict[int, Cavity]) -> None:
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
