"""The worksheet's answers as rows of text in the reader's units."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from accounts.presentation import number_text, quantity_shown, unit_label
from calcs import working
from calcs.accumulators import UsableVolume
from calcs.units import DISPLAY_UNITS, Dimension, System, from_si
from tests_app.web.worksheet_curves import Curve, Curves
from tests_app.web.worksheet_sums import ByModel

NONE: Final = "no answer"
_PLACES: Final = {"gal": 2, "L": 1, "psi": 0, "kPa": 0, "degF": 0, "degC": 0}


@dataclass(frozen=True)
class Row:
    """One line of a table: what it is of, its unit, a cell for each gas law."""

    label: str
    unit: str
    cells: tuple[str, ...]
    is_chief: bool = False


def usable_rows(found: Sequence[ByModel], units: System) -> list[Row]:
    """Return the rows on fluid and gas."""

    def row(label: str, dimension: Dimension, of: Callable[[UsableVolume], float | None], chief: bool = False) -> Row:
        cells = tuple(_cell(None if one.usable is None else of(one.usable), dimension, units) for one in found)
        return Row(label, _unit(dimension, units), cells, chief)

    return [
        row("Usable from a bottle", Dimension.VOLUME, lambda one: one.per_bottle, chief=True),
        row("Usable from the bank", Dimension.VOLUME, lambda one: one.total),
        Row("Against the hand sum", "%", tuple(_against(one) for one in found)),
        row("Stored in the bank", Dimension.VOLUME, lambda one: one.stored),
        row("Gas in a bottle: precharged", Dimension.VOLUME, lambda one: one.volumes.at_precharge),
        row("Gas in a bottle: charged", Dimension.VOLUME, lambda one: one.volumes.at_charged),
        row("Gas in a bottle: at minimum", Dimension.VOLUME, lambda one: one.volumes.at_minimum),
        row("Gas temperature at minimum", Dimension.TEMPERATURE, lambda one: one.coldest),
        Row("Bottle empty before the minimum", "", tuple(_emptied(one) for one in found)),
    ]


def ends(found: Sequence[ByModel], units: System) -> list[dict[str, Any]]:
    """Return for each gas law how the sequence ends: final pressure, margin, verdict, what falls short."""
    rows = []
    for one in found:
        sequence = one.sequence
        rows.append(
            {
                "judged": sequence is not None,
                "passes": sequence is not None and sequence.passes,
                "final": _cell(sequence.final_pressure, Dimension.PRESSURE, units, "out of fluid")
                if sequence
                else NONE,
                "margin": _cell(sequence.margin, Dimension.PRESSURE, units, "none") if sequence else NONE,
                "short": ", ".join(one.short) or ("none" if sequence else one.sequence_reason),
            }
        )
    return rows


def step_rows(found: Sequence[ByModel], units: System) -> list[dict[str, Any]]:
    """Return for each function the pressure after it by each gas law, and whether that is short of its least."""
    shown = next((one.sequence for one in found if one.sequence), None)
    rows = []
    for index, step in enumerate(shown.steps if shown else ()):
        cells = []
        for one in found:
            own = one.sequence.steps[index] if one.sequence else None
            text = _cell(own.pressure, Dimension.PRESSURE, units, "out of fluid") if own else NONE
            cells.append({"title": one.title, "text": text, "short": own is not None and not own.met})
        least = step.minimum_pressure
        rows.append(
            {
                "name": step.name,
                "volume": str(quantity_shown(step.volume, Dimension.VOLUME, units, _places(Dimension.VOLUME, units))),
                "least": "–" if least is None else _cell(least, Dimension.PRESSURE, units),
                "cells": cells,
            }
        )
    return rows


def curve_rows(curves: Curves, named: Sequence[tuple[str, float]], units: System) -> list[Row]:
    """Return fluid delivered at each pressure of the plot, and where each law's last fluid leaves."""
    rows = []
    for index, pressure in enumerate(curves.pressures):
        words = ", ".join(name.lower() for name, at in named if abs(at - pressure) < 1)
        cells = tuple(_delivered(curve, index, units) for curve in curves.curves)
        rows.append(Row(_cell(pressure, Dimension.PRESSURE, units), words, cells))
    return rows


def end_row(curves: Curves, units: System) -> Row:
    """Return at which pressure each law's last fluid leaves."""
    cells = tuple(
        _cell(curve.end.pressure if curve.end else None, Dimension.PRESSURE, units) for curve in curves.curves
    )
    return Row("Last fluid leaves at", _unit(Dimension.PRESSURE, units), cells)


def workings(found: Sequence[ByModel], units: System) -> list[dict[str, Any]]:
    """Return each gas law's working, line by line."""
    return [
        {
            "title": one.title,
            "words": one.model.words,
            "lines": [
                *(working.lines(one.usable.working, units) if one.usable else ()),
                *(working.lines(one.sequence.working, units) if one.sequence else ()),
            ],
            "reasons": [reason for reason in dict.fromkeys((one.reason, one.sequence_reason)) if reason],
        }
        for one in found
    ]


def cautions(found: Sequence[ByModel]) -> list[str]:
    """Return every caution once."""
    answers = [answer for one in found for answer in (one.usable, one.sequence) if answer]
    return list(dict.fromkeys(caution for answer in answers for caution in answer.cautions))


def pressure_text(si: float, units: System) -> str:
    """Return a pressure with its unit."""
    return str(quantity_shown(si, Dimension.PRESSURE, units))


def _delivered(curve: Curve, index: int, units: System) -> str:
    point = curve.points[index]
    text = _cell(point.delivered if point else None, Dimension.VOLUME, units)
    return f"{text} (all)" if point and point.all_out else text


def _against(one: ByModel) -> str:
    if one.share is None:
        return NONE
    return number_text((one.share - 1) * 100, 1) if abs(one.share - 1) > 1e-9 else "0"


def _emptied(one: ByModel) -> str:
    if one.usable is None:
        return NONE
    return "yes" if one.usable.emptied else "no"


def _unit(dimension: Dimension, units: System) -> str:
    return unit_label(DISPLAY_UNITS[units][dimension])


def _places(dimension: Dimension, units: System) -> int:
    return _PLACES[DISPLAY_UNITS[units][dimension]]


def _cell(si: float | None, dimension: Dimension, units: System, missing: str = NONE) -> str:
    if si is None:
        return missing
    return number_text(from_si(si, DISPLAY_UNITS[units][dimension], dimension), _places(dimension, units))
