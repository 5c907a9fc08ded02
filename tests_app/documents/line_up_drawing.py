"""The drawing of a step of a plan: the pressure system as the plan keeps it, and what the step does to it."""

import re
from typing import Any, Final

from django.utils.safestring import SafeString

from calcs.lineups import System
from equipment.documents.pressure_drawing import NARROW, WIDE, Look, Sheet, draw_sketch
from equipment.documents.pressure_sketch import Sketch, sketch_of
from equipment.models import PressureSystem
from tests_app.models import LineUpPlan
from tests_app.queries.line_up_plans import SeenStep

PAPER_WIDTH_MM: Final = 180.0
"""Between the margins of A4 and of Letter."""
_TYPE: Final = 8.5
_SHEETS: Final = tuple(Sheet(width, _TYPE) for width in (440, 560, 680, 820, 980, 1160, 1400))
"""Widths a drawing is tried in, in CSS pixels: what stands side by side in one stands in rows in another."""
_MEASURES: Final = re.compile(r'viewBox="0 0 (\d+) (\d+)"')


def sketch_copy(drawn: PressureSystem, system: System) -> dict[str, Any]:
    """Return how a pressure system is drawn, as a plan keeps it: with the elements it was planned with alone."""
    whole = sketch_of(drawn)
    known = {element.id for element in system.elements}
    elements = tuple(one for one in whole.elements if one.name in known)
    touched = frozenset[str]().union(*(one.sides for one in elements))
    return Sketch(tuple(one for one in whole.cavities if one.name in touched), elements).as_json()


def step_on_page(plan: LineUpPlan, step: SeenStep) -> tuple[SafeString, SafeString]:
    """Return the drawing of a step for a wide and for a narrow screen."""
    return _drawn(plan, step, WIDE), _drawn(plan, step, NARROW)


def step_on_paper(plan: LineUpPlan, step: SeenStep, room_mm: float) -> SafeString:
    """Return the drawing of a step for a paper, in the width that lets it be largest in the height there is.

    Of all beside the bore only what touches pressure is drawn.
    """
    tried = [_drawn(plan, step, sheet, idle=False) for sheet in _SHEETS]
    return max(tried, key=lambda drawing: _scale(drawing, room_mm))


def _scale(drawing: str, room_mm: float) -> float:
    """Return how large a pixel of the drawing comes out, mm."""
    found = _MEASURES.search(drawing)
    assert found is not None  # every drawing states its measures
    width, height = float(found[1]), float(found[2])
    return min(PAPER_WIDTH_MM / width, room_mm / height)


def _drawn(plan: LineUpPlan, step: SeenStep, sheet: Sheet, *, idle: bool = True) -> SafeString:
    shown = step.shown
    look = Look(
        pressurised=shown.pressurised,
        closed=frozenset(step.row.closed),
        shown=frozenset(name for name, _ in shown.shows),
        pump_point=step.row.pump_point,
    )
    return draw_sketch(Sketch.from_json(plan.system["sketch"]), look, sheet, idle=idle)
