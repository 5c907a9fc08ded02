"""What a ram needs to be held closed against the well: the least the bank must still stand at after it is closed."""

import math
from typing import Final

from calcs.closing import closing_pressure
from calcs.errors import InputError
from calcs.units import Dimension, GaugePressure, Quantity, from_si
from equipment.models import Component, ComponentKind, StackKind
from tests_app.models import Movement, Record
from tests_app.queries.drawdowns import system_of

_HELD_RAMS: Final = frozenset({ComponentKind.PIPE_RAM, ComponentKind.VARIABLE_BORE_RAM})


def minimum_to_hold(component: Component | None, movement: str, record: Record) -> tuple[Quantity, list[str]] | None:
    """Return MASP over the closing ratio, rounded up to a whole psi or kPa, with its working; gauge.

    None where it can't be said: no pipe ram of a surface stack, or no closing ratio or MASP on file. Subsea the mud
    and the control fluid stand on the two sides of the operator, which a ratio alone does not tell. Source of the
    ratio: as `calcs.closing.closing_pressure`.
    """
    section = record.section
    if component is None or component.kind not in _HELD_RAMS or movement != Movement.CLOSE:
        return None
    if record.stack.kind != StackKind.SURFACE or section is None or section.masp is None:
        return None
    if component.closing_ratio is None:
        return None
    try:
        needed = closing_pressure(GaugePressure(section.masp.si), float(component.closing_ratio))
    except InputError:
        return None
    system = system_of(record.rig)
    unit = "kPa" if system == "si" else "psi"
    rounded = math.ceil(round(from_si(needed.pressure, unit, Dimension.PRESSURE), 6))
    lines = [f"MASP of {section} over the closing ratio, without friction:"]
    return Quantity(float(rounded), unit), [*lines, *(step.line(system) for step in needed.working)]
