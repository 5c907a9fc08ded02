"""What a step would have to show, worked out from ticks that are not saved yet."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calcs.units import Dimension, System, shown
from equipment.errors import Refused
from tests_app.actions.steps import LineSpec
from tests_app.models import PressureFrom, Record
from tests_app.queries.alarms import below_masp_of_needs
from tests_app.queries.limits import limits_of
from tests_app.queries.line_ups import PipeDoubt, StatedPipe, doubts_of
from tests_app.queries.requirements import Circumstances, Need, circumstances_of, required_for


@dataclass(frozen=True)
class ElementPreview:
    """One element: what it needs, or why that can't be said."""

    name: str
    side: str
    need: Need | None = None
    low_min: Any = None
    low_max: Any = None
    high: Any = None
    refusal: str = ""


@dataclass(frozen=True)
class StepPreview:
    """The elements ticked, and the limits one hold for all of them would be judged by."""

    name: str
    elements: Sequence[ElementPreview]
    limits: Any
    refusal: str
    alarms: Sequence[str] = ()
    doubts: Sequence[PipeDoubt] = ()


def preview_of(record: Record, lines: Sequence[LineSpec], name: str, units: System) -> StepPreview | None:
    """Return the preview; None while nothing is ticked."""
    if not lines:
        return None
    under = circumstances_of(record)
    elements = [_element(line, under, units) for line in lines]
    doubts = _pipe_doubts(record, lines, under)
    needs = [element.need for element in elements if element.need is not None]
    if len(needs) < len(elements):
        return StepPreview(name, elements, None, "", doubts=doubts)
    try:
        alarms = below_masp_of_needs(needs, record.section, record.rig)
        return StepPreview(name, elements, limits_of(needs), "", alarms, doubts)
    except Refused as refused:
        return StepPreview(name, elements, None, str(refused), doubts=doubts)


def _pipe_doubts(record: Record, lines: Sequence[LineSpec], under: Circumstances) -> list[PipeDoubt]:
    """Return what the preventers ticked can not show with the pipe in the hole."""
    chosen = {line.position.pk for line in lines}
    standing = [(one.component, one.position) for one in under.standings if one.position.pk in chosen]
    stated = StatedPipe(record.pressure_test.pipe_in_hole)
    return [doubt for component, at in standing if component for doubt in doubts_of(component, stated, str(at))]


def _element(line: LineSpec, under: Circumstances, units: System) -> ElementPreview:
    name, side = line.position.name, str(PressureFrom(line.pressure_from).label).lower()
    standing = next(one for one in under.standings if one.position.pk == line.position.pk)
    try:
        need = required_for(standing, line.pressure_from, under=under)
    except Refused as refused:
        return ElementPreview(name, side, refusal=str(refused))
    low = need.required.low
    return ElementPreview(
        name,
        side,
        need,
        _pressure(low.min_gauge, units) if low else None,
        _pressure(low.max_gauge, units) if low else None,
        _pressure(need.required.high_gauge, units),
    )


def _pressure(si: float, units: System) -> dict[str, Any]:
    quantity = shown(si, Dimension.PRESSURE, units)
    return {"value": quantity.value, "unit": quantity.unit}
