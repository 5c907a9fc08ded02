"""The functions of a drawdown: which are worked, the fluid each takes, and what was read after each."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from accounts.models import User
from calcs.bank_rules import response_limit
from calcs.closing import MAX_FUNCTIONS
from calcs.units import Dimension
from equipment.actions import refusals, saving
from equipment.errors import Refused
from equipment.models import Component, Measured, Position
from equipment.queries.stacks import as_installed
from tests_app import rulebook
from tests_app.actions.drafts import hold_draft, mark_changed
from tests_app.actions.drawdown_judging import judge_drawdown_record
from tests_app.actions.drawdown_searching import give_places
from tests_app.models import DrawdownFunction, Movement, Record, RecordKind, VolumeFrom
from tests_app.queries.copies import as_tested, quantity
from tests_app.queries.drawdown_minimums import minimum_to_hold
from tests_app.queries.drawdown_sequence import NEVER_ON_PIPE, usual_sequence, volume_of
from tests_app.queries.drawdown_verdicts import of_limit
from tests_app.queries.drawdowns import functions_of, stack_of
from trail import entries

_ASIDE: Final = 32_000
"""Number of a function while the others change places: no test has so many."""
_JSON: Final = ("record", "limits", "minimum_working", "component_as_tested", "proposed")


@dataclass(frozen=True)
class FunctionFacts:
    """One function as typed; quantities as text with their unit.

    Attributes:
        position: where the component worked stands; None for a function of none on file.
        volume: fluid taken; empty takes it from the component.
        minimum_pressure: the bank must still stand at after it; left empty, or as it was worked out, it is what a pipe
            ram needs to hold against the well, where that is on file.
    """

    name: str
    movement: str = Movement.CLOSE
    position: Position | None = None
    volume: str = ""
    volume_from: str = VolumeFrom.COMPONENT
    minimum_pressure: str = ""
    remarks: str = ""


@dataclass(frozen=True)
class FunctionReading:
    """What was read of one function, as typed: its time in s, the gauge pressures with their unit; empty for none."""

    seconds: str = ""
    pressure_at_once: str = ""
    pressure_settled: str = ""


@transaction.atomic
def fill_functions(record: Record, *, by: User, at: datetime) -> list[DrawdownFunction]:
    """Add the usual sequence from what stands in the stack (see `usual_sequence`), volumes from the components.

    Raises Refused where functions stand already, where nothing of the stack can be worked, or naming the components
    whose volume is not on file.
    """
    held = _hold(record)
    if held.drawdown_functions.exists():
        raise Refused("functions", "Functions are entered already.", "Take them out first, or add those that lack.")
    planned = usual_sequence(held).planned
    if not planned:
        raise Refused(
            "functions",
            f"No annular, pipe ram or hydraulic line valve stood in {held.stack} when the test began.",
            "Install what stands there, or add the functions one by one.",
        )
    unknown = [f"{one.position} ({one.component})" for one in planned if one.volume is None]
    if unknown:
        raise Refused(
            "functions",
            f"No closing volume is on file for: {'; '.join(unknown)}.",
            "Enter it on the page of the component, or add the functions one by one with their volumes.",
        )
    added = [
        _append(held, FunctionFacts(name=one.name, movement=one.movement, position=one.position)) for one in planned
    ]
    give_places(held)
    mark_changed(held)
    judge_drawdown_record(held)
    after = {f"function {one.order}": f"{one.name}, {one.volume}" for one in added}
    entries.write("record.functions-filled", held, by=by, at=at, rig_number=held.rig_id, after=after)
    return added


@transaction.atomic
def add_function(record: Record, *, facts: FunctionFacts, by: User, at: datetime) -> DrawdownFunction:
    """Add a function after the others. Raises Refused or ValidationError naming the field of the facts."""
    held = _hold(record)
    added = _append(held, facts)
    give_places(held)
    mark_changed(held)
    judge_drawdown_record(held)
    entries.write("function.added", added, by=by, at=at, rig_number=held.rig_id, after=entries.snapshot(added))
    return added


@transaction.atomic
def amend_function(function: DrawdownFunction, *, facts: FunctionFacts, by: User, at: datetime) -> DrawdownFunction:
    """Change a function; what was read of it stays, and is judged anew. Raises as `add_function` does."""
    record, held = _held(function)
    before = entries.snapshot(held)
    _write(held, record, facts)
    mark_changed(record)
    judge_drawdown_record(record)
    was, became = entries.changes(before, entries.snapshot(held))
    entries.write("function.amended", held, by=by, at=at, rig_number=record.rig_id, before=was, after=became)
    return held


@transaction.atomic
def remove_function(function: DrawdownFunction, *, by: User, at: datetime) -> None:
    """Take out a function that nothing was read of; those after it move up. Raises Refused otherwise."""
    record, held = _held(function)
    if held.pressure_at_once is not None or held.pressure_settled is not None or held.seconds is not None:
        raise Refused("", f"{held} has readings: what was worked stays.", "Clear its readings first, if it was not.")
    before, told = entries.snapshot(held), held.pk
    order = held.order
    held.delete()
    for later in record.drawdown_functions.filter(order__gt=order).order_by("order"):
        later.order -= 1
        later.save()
    give_places(record)
    mark_changed(record)
    judge_drawdown_record(record)
    held.pk = told
    entries.write("function.removed", held, by=by, at=at, rig_number=record.rig_id, before=before)


@transaction.atomic
def move_function(function: DrawdownFunction, *, to_order: int, by: User, at: datetime) -> DrawdownFunction:
    """Put a function at another place in the order; the others make room. Raises Refused naming `to_order`."""
    record, held = _held(function)
    last = record.drawdown_functions.count()
    if not 1 <= to_order <= last:
        raise Refused("to_order", f"There is no place {to_order}.", f"Give a place from 1 to {last}.")
    was = held.order
    if to_order == was:
        return held
    held.order = _ASIDE
    held.save()
    step = 1 if to_order < was else -1
    between = record.drawdown_functions.filter(order__gte=min(was, to_order), order__lte=max(was, to_order))
    for other in between.order_by("-order" if step > 0 else "order"):
        other.order += step
        other.save()
    held.order = to_order
    held.save()
    give_places(record)
    mark_changed(record)
    judge_drawdown_record(record)
    entries.write(
        "function.moved", held, by=by, at=at, rig_number=record.rig_id, before={"order": was}, after={"order": to_order}
    )
    return held


@transaction.atomic
def write_readings(
    record: Record, *, readings: Mapping[int, FunctionReading], version: int, by: User, at: datetime
) -> Record:
    """Write what was read after each function, by its order; an empty field clears what stood there.

    Raises RecordIsStale when the draft changed since `version`, ValidationError naming ``pressure_at_once-3`` and so
    on: the field and the function's order.
    """
    held = _hold(record, version=version)
    functions = {one.order: one for one in functions_of(held)}
    wrong: dict[str, list[str]] = {}
    was: dict[str, Any] = {}
    became: dict[str, Any] = {}
    for order, reading in readings.items():
        if order not in functions:
            raise Refused("readings", f"There is no function {order}.", "Look at the test as it stands now.")
        one = functions[order]
        before = entries.snapshot(one)
        wrong |= _read(one, reading)
        gone, come = entries.changes(before, entries.snapshot(one))
        if come:
            was[str(one)], became[str(one)] = gone, come
    if wrong:
        raise ValidationError(wrong)
    for order in readings:
        functions[order].save()
    mark_changed(held)
    judge_drawdown_record(held)
    entries.write("record.readings-written", held, by=by, at=at, rig_number=held.rig_id, before=was, after=became)
    return held


def require_functions(record: Record) -> None:
    """Work out anew what each function of the held record takes and what is asked of it: a heading changed it.

    Raises Refused, of no field, naming the function that can't be with the heading as it stands now.
    """
    for one in functions_of(record):
        try:
            _stand(one, record)
        except Refused as refused:
            raise Refused("", f"{one}: {refused.reason}", refused.remedy) from refused
        if one.minimum_working or one.minimum_pressure is None:
            _give_minimum(one, record, worked_out=True)
        if one.volume_from == VolumeFrom.COMPONENT and one.component is not None:
            volume = volume_of(one.component, one.movement)
            one.volume = volume if volume is not None else one.volume
        one.save()


def _hold(record: Record, *, version: int | None = None) -> Record:
    held = hold_draft(record, version=version)
    if held.kind != RecordKind.DRAWDOWN:
        raise Refused("", f"{held} is no drawdown test.", "Open one from the page of the bank.")
    return held


def _held(function: DrawdownFunction) -> tuple[Record, DrawdownFunction]:
    record = _hold(function.record)
    held = record.drawdown_functions.select_related("position", "component").get(pk=function.pk)
    held.record = record
    return record, held


def _append(record: Record, facts: FunctionFacts) -> DrawdownFunction:
    last = record.drawdown_functions.aggregate(last=Max("order"))["last"] or 0
    if last >= MAX_FUNCTIONS:
        raise Refused("", f"A test works {MAX_FUNCTIONS} functions at most.", "Record the others in another test.")
    function = DrawdownFunction(record=record, order=last + 1)
    _write(function, record, facts)
    return function


def _write(function: DrawdownFunction, record: Record, facts: FunctionFacts) -> None:
    if facts.movement not in Movement.values:
        raise Refused("movement", f"{facts.movement!r} is no movement.", "Choose to close or to open.")
    was = str(function.minimum_pressure or "") if function.minimum_working else ""
    function.movement = facts.movement
    function.position = facts.position
    _stand(function, record)
    values = {"name": facts.name, "minimum_pressure": facts.minimum_pressure, "remarks": facts.remarks}
    saving.assign_values(function, {**values, "volume_from": facts.volume_from, "volume": _volume(function, facts)})
    given = str(function.minimum_pressure or "")
    _give_minimum(function, record, worked_out=given in ("", was))
    _refuse_implausible(function)
    refusals.refuse_invalid(function, exclude=_JSON)
    function.save()


def _stand(function: DrawdownFunction, record: Record) -> None:
    """Put in what stood in the position when the test began, and the time the rules allow it."""
    function.component, function.component_as_tested, function.limits = None, None, {}
    if function.position is None:
        return
    component = _standing(function.position, record)
    _refuse_on_pipe(component, function, record)
    function.component = component
    function.component_as_tested = {
        **as_tested(component, function.position),
        "closing_volume": quantity(component.closing_volume),
        "opening_volume": quantity(component.opening_volume),
    }
    bore = component.nominal_bore
    function.limits = of_limit(
        response_limit(
            rulebook.edition(record.edition),
            kind=component.kind,
            stack=stack_of(record),
            bore=None if bore is None else bore.si,
            movement=function.movement,
        )
    )


def _give_minimum(function: DrawdownFunction, record: Record, *, worked_out: bool) -> None:
    """Put in what a ram needs to hold against the well, unless another minimum was typed in."""
    function.minimum_working = []
    if not worked_out:
        return
    found = minimum_to_hold(function.component, function.movement, record)
    function.minimum_pressure = None
    if found is not None:
        function.minimum_pressure, function.minimum_working = found


def _standing(position: Position, record: Record) -> Component:
    standings = {one.position.pk: one.component for one in as_installed(record.stack, at=record.started_at)}
    if position.pk not in standings:
        raise Refused("position", f"{position} is no position of {record.stack}.", "Choose one of this stack.")
    component = standings[position.pk]
    if component is None:
        raise Refused(
            "position",
            f"{position} is empty: nothing stood there when the test began.",
            "Install the component first, as of the time it was put in.",
        )
    return component


def _refuse_on_pipe(component: Component, function: DrawdownFunction, record: Record) -> None:
    pipe = record.drawdown_test.pipe_in_hole
    if pipe is None or function.movement != Movement.CLOSE or component.kind not in NEVER_ON_PIPE:
        return
    raise Refused(
        "position",
        f"{function.position} holds a blind or shear ram, and the heading says {pipe} pipe stands in the hole.",
        "Never close it on pipe in a drawdown: choose another, or correct the heading.",
    )


def _volume(function: DrawdownFunction, facts: FunctionFacts) -> Measured | str:
    """Return the fluid taken: what was typed, or what the component on file takes for this movement."""
    typed = facts.volume.strip()
    if facts.volume_from != VolumeFrom.COMPONENT:
        if not typed:
            raise Refused("volume", "The volume is missing.", "Enter the fluid it takes, such as 21.4 gal.")
        return typed
    on_file = volume_of(function.component, function.movement) if function.component else None
    if on_file is None:
        raise Refused(
            "volume",
            "No component on file says what this movement takes.",
            "Enter the volume and choose that it was typed in or measured, or put it on the component's page.",
        )
    if typed and abs(Measured.of(typed, Dimension.VOLUME, field="volume").si / on_file.si - 1) > 1e-6:
        raise Refused(
            "volume",
            f"The component on file takes {on_file}.",
            "Leave it empty, or say that it was typed in or measured.",
        )
    return on_file


def _refuse_implausible(function: DrawdownFunction) -> None:
    wrong: dict[str, str] = {}
    volume, minimum = function.volume, function.minimum_pressure
    if volume is None or not volume.si > 0:
        wrong["volume"] = "A function takes some fluid. Enter how much."
    elif volume.si > 2.0:
        wrong["volume"] = "No function takes over 500 gal (1,893 L). Check the figure and its unit."
    if minimum is not None and not minimum.si >= 0:
        wrong["minimum_pressure"] = "A minimum is zero or more. Check the figure."
    if wrong:
        raise ValidationError(wrong)


def _read(function: DrawdownFunction, reading: FunctionReading) -> dict[str, list[str]]:
    """Set what was read on the row; return what can't stand, by field and order."""
    wrong: dict[str, list[str]] = {}
    for name in ("pressure_at_once", "pressure_settled"):
        try:
            setattr(function, name, getattr(reading, name).strip())
        except ValidationError as error:
            wrong[f"{name}-{function.order}"] = error.messages
            continue
        pressure = getattr(function, name)
        if pressure is not None and not pressure.si >= 0:
            wrong[f"{name}-{function.order}"] = ["A gauge shows zero or more."]
        elif pressure is not None and pressure.si > _HIGHEST:
            wrong[f"{name}-{function.order}"] = ["No closing unit has such a pressure. Check the figure and its unit."]
    try:
        function.seconds = _seconds(reading.seconds)
    except Refused as refused:
        wrong[f"seconds-{function.order}"] = [str(refused)]
    return wrong


_HIGHEST: Final = 100e6
LONGEST_FUNCTION_S: Final = 3_600.0
"""A function that takes longer than an hour is a slip of the pen (common practice)."""


def _seconds(text: str) -> float | None:
    written = text.strip().removesuffix("s").strip().replace(",", ".")
    if not written:
        return None
    try:
        seconds = float(written)
    except ValueError:
        raise Refused("seconds", f"{text!r} is no number of seconds.", "Give it as 21 or 21.5.") from None
    if not 0 < seconds <= LONGEST_FUNCTION_S:
        raise Refused("seconds", "The time is not over zero or is longer than an hour.", "Give the watch's time in s.")
    return seconds
