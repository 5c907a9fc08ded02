"""What no well and no component has: figures outside these bounds are slips of the pen, and are refused.

Each bound lies well outside what is in use, so that no real equipment is turned away, and says where it comes
from. All in SI; pressures gauge.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Final

from django.core.exceptions import ValidationError
from django.db import models

from calcs.errors import InputError
from calcs.pressures import MAX_GAS_GRADIENT, check_fracture, gradient_of
from calcs.units import Dimension, to_si
from equipment.actions import saving
from equipment.errors import Refused
from equipment.models import (
    RAM_KINDS,
    Component,
    ComponentKind,
    DepthDatum,
    HoleSection,
    Measured,
    Rig,
    RigKind,
    Well,
)

_CHECK: Final = "Check the figure and its unit."
_COMMON: Final = "common practice"


@dataclass(frozen=True)
class Bound:
    """What a figure lies between.

    Attributes:
        lowest, highest: in SI, for a quantity; as they are, for a ratio.
        words: the same for people, in both systems of units.
        source: where the bound comes from.
        from_zero: whether the lowest itself, zero, is a figure one may have.
    """

    lowest: float
    highest: float
    words: str
    source: str = _COMMON
    from_zero: bool = False

    def holds(self, figure: float) -> bool:
        """Tell whether the figure lies within; not-a-number does not."""
        if self.lowest == 0 and not self.from_zero:
            return 0 < figure <= self.highest
        return self.lowest <= figure <= self.highest


def _psi(highest: float, words: str, source: str = _COMMON) -> Bound:
    return Bound(0, to_si(highest, "psi", Dimension.PRESSURE), words, source)


def _inches(lowest: float, highest: float, words: str) -> Bound:
    return Bound(to_si(lowest, "in", Dimension.LENGTH), to_si(highest, "in", Dimension.LENGTH), words)


def _feet(highest: float, words: str, source: str = _COMMON, *, from_zero: bool = False) -> Bound:
    return Bound(0, to_si(highest, "ft", Dimension.LENGTH), words, source, from_zero)


def _gradient(lowest: float, highest: float, words: str) -> Bound:
    low, high = (to_si(figure, "psi/ft", Dimension.PRESSURE_GRADIENT) for figure in (lowest, highest))
    return Bound(low, high, words)


SURFACE: Final = _psi(30_000, "over zero and up to 30,000 psi (206.8 MPa)")
RATING: Final = Bound(
    to_si(100, "psi", Dimension.PRESSURE),
    to_si(30_000, "psi", Dimension.PRESSURE),
    "from 100 to 30,000 psi (0.69 to 206.8 MPa)",
    "the largest rating in the trade; API Specification 16A ends lower, from memory",
)
OPERATING: Final = _psi(10_000, "over zero and up to 10,000 psi (69 MPa)")
VOLUME: Final = Bound(0, to_si(500, "gal", Dimension.VOLUME), "over zero and up to 500 US gal (1,893 L)")
RATIO: Final = Bound(0, 50, "over zero and up to 50")
PIPE: Final = _inches(0, 30, "over zero and up to 30 in (762 mm)")

_PREVENTER_BORE: Final = _inches(1.5, 36, "from 1.5 to 36 in (38 to 914 mm)")
_WIDE_BORE: Final = _inches(1.5, 60, "from 1.5 to 60 in (38 to 1,524 mm)")
_VALVE_BORE: Final = _inches(0, 24, "over zero and up to 24 in (610 mm)")
_PREVENTERS: Final = RAM_KINDS | {ComponentKind.ANNULAR}
_WIDE: Final = frozenset({
    ComponentKind.CONNECTOR, ComponentKind.DRILLING_SPOOL, ComponentKind.RISER, ComponentKind.DIVERTER
})  # fmt: skip

_DEEPEST_WATER: Final = _feet(
    13_000, "from zero to 13,000 ft (3,962 m)", "no well stands in deeper water, from memory", from_zero=True
)
_JACK_UP_WATER: Final = _feet(600, "from zero to 600 ft (183 m) for a jack-up", from_zero=True)
_AIR_GAP: Final = _feet(500, "from zero to 500 ft (152 m)", from_zero=True)
DEPTH: Final = _feet(50_000, "over zero and up to 50,000 ft (15,240 m)", "no well has gone as deep")
MUD: Final = Bound(
    to_si(5, "lb/gal", Dimension.DENSITY),
    to_si(25, "lb/gal", Dimension.DENSITY),
    "from 5 to 25 lb/gal (599 to 2,996 kg/m³)",
)
PORE: Final = _gradient(0.05, 1.3, "from 0.05 to 1.3 psi/ft (1.1 to 29.4 kPa/m, 25 lb/gal)")
FRACTURE: Final = _gradient(0.26, 1.3, "from 0.26 to 1.3 psi/ft (5.9 to 29.4 kPa/m, 5 to 25 lb/gal)")
GAS: Final = Bound(0, MAX_GAS_GRADIENT, "over zero and up to 0.25 psi/ft (5.7 kPa/m)")

_OF_COMPONENT: Final[Mapping[str, Bound]] = {
    "rated_working_pressure": RATING,
    "rated_operating_pressure": OPERATING,
    "closing_volume": VOLUME,
    "opening_volume": VOLUME,
    "closing_ratio": RATIO,
    "opening_ratio": RATIO,
    "closes_on_smallest": PIPE,
    "closes_on_largest": PIPE,
}
_OF_SECTION: Final[Mapping[str, Bound]] = {
    "total_depth": DEPTH,
    "casing_shoe_depth": DEPTH,
    "mud_weight": MUD,
    "pore_gradient": PORE,
    "fracture_gradient": FRACTURE,
    "gas_gradient": GAS,
    "casing_internal_yield": RATING,
    "wellhead_rated_working_pressure": RATING,
    "masp": SURFACE,
}
_LABELS: Final[Mapping[str, str]] = {
    "casing_internal_yield": "casing burst rating (internal yield)",
    "masp": "MASP",
    "total_depth": "depth at the section's end",
    "casing_shoe_depth": "depth of the casing shoe",
    "closes_on_smallest": "smallest pipe",
    "closes_on_largest": "largest pipe",
}


def check_component(component: Component) -> None:
    """Refuse a component's figures that no equipment has; raises as `_refuse` does."""
    bounds = {**_OF_COMPONENT, "nominal_bore": bore_of(component.kind)}
    _refuse([*_outside(component, bounds), *_pipe_over_bore(component)])


def bore_of(kind: str) -> Bound:
    """Return what the nominal bore of such a component lies between."""
    if kind in _PREVENTERS:
        return _PREVENTER_BORE
    return _WIDE_BORE if kind in _WIDE else _VALVE_BORE


def check_well(well: Well, at: datetime) -> None:
    """Refuse water, air gap and days that the well can't have; raises as `_refuse` does."""
    water = _JACK_UP_WATER if well.rig.kind == RigKind.JACK_UP else _DEEPEST_WATER
    _refuse(
        [
            *_outside(well, {"water_depth": water, "air_gap": _AIR_GAP}),
            *_water_on_land(well),
            *_gap_without_air(well),
            *_days_to_come(well, well.rig, at),
        ]
    )


def check_section(section: HoleSection) -> None:
    """Refuse a section's figures that no well has, alone or together; raises as `_refuse` does."""
    _refuse(list(_outside(section, _OF_SECTION)))
    _refuse([*_shoe_below_the_end(section), *_weak_shoe(section), *_heavy_gas(section)])


def _refuse(refusals: Iterable[Refused]) -> None:
    """Raise what there is: Refused for one, ValidationError naming each field for more."""
    found = list(refusals)
    if len(found) == 1:
        raise found[0]
    if found:
        raise ValidationError({refused.field: str(refused) for refused in reversed(found)})


def _outside(row: models.Model, bounds: Mapping[str, Bound]) -> Iterator[Refused]:
    for field, bound in bounds.items():
        given: Measured | Decimal | None = getattr(row, field)
        figure = given.si if isinstance(given, Measured) else given
        if figure is not None and not bound.holds(float(figure)):
            yield Refused(field, f"The {_label(field)} lies {bound.words} ({bound.source}).", _CHECK)


def _label(field: str) -> str:
    return _LABELS.get(field, field.replace("_", " "))


def _pipe_over_bore(component: Component) -> Iterator[Refused]:
    pipe, bore = component.closes_on_largest, component.nominal_bore
    if pipe is not None and bore is not None and pipe.si > bore.si:
        yield Refused("closes_on_largest", "Pipe of this size does not pass the bore.", "Check both and their units.")


def _water_on_land(well: Well) -> Iterator[Refused]:
    if well.rig.kind != RigKind.LAND:
        return
    for field in ("water_depth", "air_gap"):
        measured = getattr(well, field)
        if measured is not None and measured.si > 0:
            yield Refused(field, f"{well.rig.name} is a land rig.", "Leave this empty, or amend the kind of the rig.")


def _gap_without_air(well: Well) -> Iterator[Refused]:
    if well.datum == DepthDatum.SEA_LEVEL and well.air_gap is not None and well.air_gap.si > 0:
        yield Refused(
            "air_gap",
            "Depths measured from sea level have no air gap in them.",
            "Leave this empty, or choose the point depths are measured from.",
        )


def _days_to_come(well: Well, rig: Rig, at: datetime) -> Iterator[Refused]:
    # One day ahead is a rig whose clock is set wrongly, not a slip: more is.
    latest = saving.aware(at).astimezone(rig.zone).date() + timedelta(days=1)
    for field in ("spudded_on", "finished_on"):
        day = getattr(well, field)
        if isinstance(day, date) and day > latest:
            yield Refused(field, "This day lies in the future.", "Leave it empty until then.")


def _shoe_below_the_end(section: HoleSection) -> Iterator[Refused]:
    shoe, end = section.casing_shoe_depth, section.total_depth
    if shoe is not None and end is not None and shoe.si > end.si:
        yield Refused(
            "casing_shoe_depth",
            "The casing shoe lies deeper than the end of the section.",
            "Check “Depth of the casing shoe” and “Depth at its end”.",
        )


def _weak_shoe(section: HoleSection) -> Iterator[Refused]:
    if section.fracture_gradient is None:
        return
    mud, pore = section.mud_weight, section.pore_gradient
    try:
        check_fracture(
            section.fracture_gradient.si,
            mud_weight=None if mud is None else mud.si,
            pore_gradient=None if pore is None else pore.si,
        )
    except InputError as error:
        yield Refused(error.field, error.reason, error.remedy)


def _heavy_gas(section: HoleSection) -> Iterator[Refused]:
    if section.gas_gradient is None:
        return
    mud, pore = section.mud_weight, section.pore_gradient
    fluids = ((pore and pore.si, "pore gradient"), (mud and gradient_of(mud.si), "mud weight"))
    for gradient, what in fluids:
        if gradient is not None and section.gas_gradient.si >= gradient:
            yield Refused("gas_gradient", f"The gas gradient is not below the {what}.", "Check both and their units.")
            return
