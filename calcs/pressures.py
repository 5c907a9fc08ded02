"""Columns and anticipated pressures: hydrostatic, maximum anticipated surface pressure, the weakest part.

Everything is SI: pressures gauge in Pa, depths true vertical in m, gradients in Pa/m. Each result
carries its working. Sources: "Formulas and Calculations for Drilling, Production and Workover", 2nd
edition, chapter 2 (methods of MASP); 30 CFR 250.413(f) lists what to consider and prescribes no gas
gradient. The arrangement of gas on top and mud below is our choice (common practice).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from calcs import units
from calcs.errors import InputError
from calcs.units import Dimension, GaugePressure
from calcs.working import Amount, Step

STANDARD_GRAVITY: Final = 9.80665
"""Standard acceleration of gravity, m/s² (ISO 80000-3)."""

ROUNDED_CONSTANT: Final = 0.052
"""Rounded psi/ft per lb/gal of common practice; the exact figure is 12/231 = 0.0519481."""

SEAWATER_GRADIENT: Final = units.to_si(0.445, "psi/ft", Dimension.PRESSURE_GRADIENT)
"""Seawater, 0.445 psi/ft as Pa/m (common practice)."""

_ROUNDED_PER_DENSITY: Final = units.to_si(ROUNDED_CONSTANT, "psi/ft", Dimension.PRESSURE_GRADIENT) / units.to_si(
    1, "lb/gal", Dimension.DENSITY
)

MAX_DEPTH: Final = 15_000.0
"""Deepest true vertical depth accepted, m; no well has gone as deep."""
MAX_DENSITY: Final = 3_000.0
"""Heaviest mud accepted, kg/m³ (25 lb/gal)."""
MAX_PRESSURE: Final = 350e6
"""Highest pressure accepted, Pa (50,800 psi)."""
MAX_GRADIENT: Final = MAX_DENSITY * STANDARD_GRAVITY
"""Steepest gradient accepted, Pa/m (1.3 psi/ft), over any overburden."""
MAX_GAS_GRADIENT: Final = units.to_si(0.25, "psi/ft", Dimension.PRESSURE_GRADIENT)
"""Steepest gas gradient accepted, Pa/m; gas columns are taken at 0.1 to 0.15 psi/ft (common practice)."""
MAX_SEAWATER_GRADIENT: Final = units.to_si(0.5, "psi/ft", Dimension.PRESSURE_GRADIENT)
"""Steepest seawater gradient accepted, Pa/m; the saltiest sea stays under it (common practice)."""


_SAME: Final = 1e-6
"""Relative difference under which two gradients are one, written in different units."""


class Method(StrEnum):
    """How an anticipated surface pressure was found."""

    PORE_GAS = "pore-gas"
    FRACTURE_GAS = "fracture-gas"


@dataclass(frozen=True, slots=True)
class Hydrostatic:
    """A column's pressure at its foot, its gradient, and the working."""

    pressure_gauge: GaugePressure
    gradient: float
    working: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Masp:
    """A maximum anticipated surface pressure.

    Attributes:
        pressure_gauge: the figure; with a mudline, the pressure inside the wellhead there.
        governs: the method whose figure it is.
        working: every step.
        differential_gauge: with a mudline, the same less the seawater column outside; else None.
        considered: each method with its figure, when several were compared.
    """

    pressure_gauge: GaugePressure
    governs: Method
    working: tuple[Step, ...]
    differential_gauge: GaugePressure | None = None
    considered: tuple[tuple[Method, GaugePressure], ...] = ()


@dataclass(frozen=True, slots=True)
class Mudline:
    """The sea floor of a subsea stack.

    Attributes:
        depth: of the wellhead under the depth datum, m.
        air_gap: from the depth datum down to the sea surface, m; the seawater column is the rest.
        seawater_gradient: Pa/m.
    """

    depth: float
    air_gap: float = 0.0
    seawater_gradient: float = SEAWATER_GRADIENT

    def __post_init__(self) -> None:
        """Refuse a mudline above the sea surface and gradients that no seawater has."""
        _within("mudline_depth", self.depth, MAX_DEPTH, "depth")
        if not 0 <= self.air_gap < self.depth:
            raise InputError("air_gap", "The air gap is not between zero and the mudline depth.", "Give it in ft or m.")
        _within("seawater_gradient", self.seawater_gradient, MAX_SEAWATER_GRADIENT, "gradient")


@dataclass(frozen=True, slots=True)
class PoreGas:
    """Formation pressure less the column above it: gas on top, mud below when the gas fraction is under 1.

    Attributes:
        depth: true vertical depth of the formation, m.
        gas_gradient: Pa/m.
        pore_pressure_gauge: formation pressure, Pa; or None with a mud weight.
        mud_weight: kg/m³; stands for the formation pressure when that is None, and is the mud below.
        margin: added to the mud weight for the formation pressure, kg/m³.
        gas_fraction: the share of the column, from the top, that is gas.
        rounded: use the rounded 0.052 instead of exact units.
    """

    depth: float
    gas_gradient: float
    pore_pressure_gauge: GaugePressure | None = None
    mud_weight: float | None = None
    margin: float = 0.0
    gas_fraction: float = 1.0
    rounded: bool = False

    def __post_init__(self) -> None:
        """Refuse values outside their range and sets that leave the pressure open."""
        _within("depth", self.depth, MAX_DEPTH, "depth")
        _within_gas(self.gas_gradient)
        if self.pore_pressure_gauge is not None:
            _within("pore_pressure", self.pore_pressure_gauge, MAX_PRESSURE, "formation pressure")
        elif self.mud_weight is None:
            raise InputError("pore_pressure", "The formation pressure is missing.", "Give it, or the mud weight.")
        if self.mud_weight is not None:
            _within("mud_weight", self.mud_weight, MAX_DENSITY, "mud weight")
        if self.pore_pressure_gauge is not None and self.margin:
            raise InputError(
                "margin", "A margin is added to a mud weight only.", "Leave it out, or give the mud weight."
            )
        if not 0 <= self.margin <= MAX_DENSITY:
            raise InputError("margin", "The margin is under zero or absurd.", "Give for instance 0.5 lb/gal.")
        if not 0 < self.gas_fraction <= 1:
            raise InputError("gas_fraction", "The gas fraction is not over 0 and up to 1.", "Give for instance 0.7.")
        if self.gas_fraction < 1 and self.mud_weight is None:
            raise InputError("mud_weight", "The mud under the gas has no weight.", "Give the mud weight.")


@dataclass(frozen=True, slots=True)
class FractureGas:
    """Fracture pressure at the shoe less a gas column up from there.

    Attributes:
        shoe_depth: true vertical depth of the casing shoe, m.
        fracture_gradient: Pa/m.
        gas_gradient: Pa/m.
        margin: added to the fracture gradient, so that the formation breaks first, Pa/m.
        mud_weight: kg/m³, where it is known: a shoe that breaks under the mud itself proves a slip of the pen.
    """

    shoe_depth: float
    fracture_gradient: float
    gas_gradient: float
    margin: float = 0.0
    mud_weight: float | None = None

    def __post_init__(self) -> None:
        """Refuse values outside their range, and a shoe that would not hold the mud."""
        _within("shoe_depth", self.shoe_depth, MAX_DEPTH, "depth")
        _within("fracture_gradient", self.fracture_gradient, MAX_GRADIENT, "fracture gradient")
        _within_gas(self.gas_gradient)
        if not 0 <= self.margin <= MAX_GRADIENT:
            raise InputError("margin", "The margin is under zero or absurd.", "Give for instance 0.5 lb/gal.")
        if self.mud_weight is not None:
            _within("mud_weight", self.mud_weight, MAX_DENSITY, "mud weight")
            check_fracture(self.fracture_gradient, mud_weight=self.mud_weight)


@dataclass(frozen=True, slots=True)
class Part:
    """A part exposed to a test pressure and what it may see, Pa."""

    name: str
    limit_gauge: GaugePressure


def gradient_of(density: float, *, rounded: bool = False) -> float:
    """Return the gradient in Pa/m of a fluid of `density` kg/m³: ρ·g, or the rounded 0.052 rule."""
    return density * (_ROUNDED_PER_DENSITY if rounded else STANDARD_GRAVITY)


def check_fracture(
    fracture_gradient: float, *, mud_weight: float | None = None, pore_gradient: float | None = None
) -> None:
    """Refuse a fracture gradient below what stands on the shoe or pushes from below (common practice).

    Mud is kept over the pore pressure and under the fracture pressure; a shoe that is said to break below
    either is a slip of the pen, and would give an anticipated surface pressure that is dangerously low.

    Args:
        fracture_gradient: at the shoe, Pa/m.
        mud_weight: kg/m³, where known.
        pore_gradient: Pa/m, where known.

    Raises InputError naming ``fracture_gradient``.
    """
    known = ((None if mud_weight is None else gradient_of(mud_weight), "mud weight"), (pore_gradient, "pore gradient"))
    for gradient, what in known:
        if gradient is not None and fracture_gradient < gradient * (1 - _SAME):
            raise InputError(
                "fracture_gradient",
                f"The fracture gradient is below the {what}: the shoe would have broken already, and the "
                "anticipated surface pressure would come out dangerously low.",
                f"Check the fracture gradient, the {what} and their units.",
            )


def hydrostatic(density: float, depth: float, *, rounded: bool = False) -> Hydrostatic:
    """Return the gauge pressure at the foot of a column open to the air: p = ρ·g·h.

    Args:
        density: ρ, kg/m³; over 0 and up to 3,000.
        depth: h, true vertical, m; over 0 and up to 15,000.
        rounded: use 0.052 psi/ft per lb/gal (common practice) instead of the exact 12/231.

    Raises InputError outside those ranges. Source: hydrostatic law for an incompressible fluid at rest.

    >>> ppg, foot, psi = 119.82642731689663, 0.3048, 6894.757293168361
    >>> round(hydrostatic(10 * ppg, 7000 * foot).pressure_gauge / psi, 1)
    3636.4
    >>> round(hydrostatic(10 * ppg, 7000 * foot, rounded=True).pressure_gauge / psi, 1)
    3640.0
    """
    _within("mud_weight", density, MAX_DENSITY, "mud weight")
    _within("depth", depth, MAX_DEPTH, "depth")
    gradient = gradient_of(density, rounded=rounded)
    pressure = GaugePressure(gradient * depth)
    how = "0.052 psi/ft per lb/gal (rounded rule) × {0}" if rounded else "{0} × g"
    working = (
        Step("Gradient", how, (_density(density),), _gradient(gradient)),
        Step("Hydrostatic pressure", "{0} × {1}", (_gradient(gradient), _length(depth)), _pressure(pressure)),
    )
    return Hydrostatic(pressure, gradient, working)


def masp(pore: PoreGas | None = None, fracture: FractureGas | None = None, *, mudline: Mudline | None = None) -> Masp:
    """Return the maximum anticipated surface pressure; of two methods the lesser governs.

    With a `mudline` the column ends at the wellhead and the pressure is the one inside it there; the
    differential is that less the seawater column outside.

    Raises InputError when neither method is given, when the column starts above its end, when the column
    outweighs the pressure below it, or when the fracture gradient is below the mud weight.

    >>> ppg, foot, psi = 119.82642731689663, 0.3048, 6894.757293168361
    >>> gas = 0.12 * psi / foot
    >>> found = masp(PoreGas(12000 * foot, gas, mud_weight=12 * ppg, margin=4 * ppg, rounded=True))
    >>> round(found.pressure_gauge / psi)
    8544
    """
    found = []
    if pore is not None:
        found.append((Method.PORE_GAS, *_pore_gas(pore, mudline)))
    if fracture is not None:
        if pore is not None:
            _check_together(pore, fracture)
        found.append((Method.FRACTURE_GAS, *_fracture_gas(fracture, mudline)))
    if not found:
        raise InputError("method", "No method was given.", "Give the values of at least one method.")
    governs, pressure, _ = min(found, key=lambda one: one[1])
    working = tuple(step for _, _, steps in found for step in steps)
    if len(found) > 1:
        compared = tuple(_pressure(one[1]) for one in found)
        working += (Step("MASP", "the lesser of {0} and {1}", compared, _pressure(pressure)),)
    considered = tuple((method, figure) for method, figure, _ in found)
    if mudline is None:
        return Masp(pressure, governs, working, considered=considered)
    differential, step = _less_seawater(pressure, mudline)
    return Masp(pressure, governs, (*working, step), differential, considered)


def weakest(parts: Sequence[Part]) -> Part:
    """Return the part with the lowest limit: no test pressure may pass it.

    Raises InputError for no parts or a limit out of range.

    >>> weakest([Part("wellhead", GaugePressure(34e6)), Part("ram", GaugePressure(69e6))]).name
    'wellhead'
    """
    if not parts:
        raise InputError("weakest_part", "No part is named.", "Give the parts the pressure reaches.")
    for part in parts:
        _within("weakest_part", part.limit_gauge, MAX_PRESSURE, f"limit of {part.name}")
    return min(parts, key=lambda part: part.limit_gauge)


def _check_together(pore: PoreGas, fracture: FractureGas) -> None:
    """Refuse a shoe below the formation, and one that would break under the mud.

    A formation stronger than the shoe is no slip: that the shoe would break first is why the lesser governs.
    """
    if fracture.shoe_depth > pore.depth:
        raise InputError(
            "shoe_depth", "The shoe lies deeper than the formation.", "Check the depth of the shoe and the total depth."
        )
    check_fracture(fracture.fracture_gradient, mud_weight=pore.mud_weight)


def _pore_gas(pore: PoreGas, mudline: Mudline | None) -> tuple[GaugePressure, tuple[Step, ...]]:
    column = _column("depth", pore.depth, mudline)
    formation, steps = _formation(pore)
    gas = pore.gas_gradient * column * pore.gas_fraction
    gas_terms = (_gradient(pore.gas_gradient), _length(column * pore.gas_fraction))
    steps += (Step("Gas column", "{0} × {1}", gas_terms, _pressure(gas)),)
    mud = 0.0
    if pore.gas_fraction < 1 and pore.mud_weight is not None:
        mud_gradient = gradient_of(pore.mud_weight, rounded=pore.rounded)
        mud = mud_gradient * column * (1 - pore.gas_fraction)
        mud_terms = (_gradient(mud_gradient), _length(column * (1 - pore.gas_fraction)))
        steps += (Step("Mud below the gas", "{0} × {1}", mud_terms, _pressure(mud)),)
    pressure = _positive("pore_pressure" if pore.mud_weight is None else "mud_weight", formation - gas - mud)
    _lighter(pore.gas_gradient, formation / pore.depth, "formation")
    if pore.mud_weight is not None:
        _lighter(pore.gas_gradient, gradient_of(pore.mud_weight), "mud")
    terms = (_pressure(formation), _pressure(gas + mud))
    return pressure, (
        *steps,
        Step(_at("Pressure from the formation", mudline), "{0} − {1}", terms, _pressure(pressure)),
    )


def _formation(pore: PoreGas) -> tuple[float, tuple[Step, ...]]:
    if pore.pore_pressure_gauge is not None:
        return pore.pore_pressure_gauge, ()
    assert pore.mud_weight is not None
    gradient = gradient_of(pore.mud_weight + pore.margin, rounded=pore.rounded)
    formation = gradient * pore.depth
    if formation > MAX_PRESSURE:
        raise InputError(
            "mud_weight", "The formation pressure comes out absurd.", "Check mud weight, margin and depth."
        )
    how = "({0} + {1}) × {2}" + (" by the rounded 0.052 rule" if pore.rounded else "")
    terms = (_density(pore.mud_weight), _density(pore.margin), _length(pore.depth))
    return formation, (Step("Formation pressure", how, terms, _pressure(formation)),)


def _fracture_gas(fracture: FractureGas, mudline: Mudline | None) -> tuple[GaugePressure, tuple[Step, ...]]:
    column = _column("shoe_depth", fracture.shoe_depth, mudline)
    at_shoe = (fracture.fracture_gradient + fracture.margin) * fracture.shoe_depth
    gas = fracture.gas_gradient * column
    pressure = _positive("fracture_gradient", at_shoe - gas)
    _lighter(fracture.gas_gradient, fracture.fracture_gradient, "fracture gradient")
    return pressure, (
        _at_the_shoe(fracture, at_shoe),
        Step(
            "Gas column from the shoe", "{0} × {1}", (_gradient(fracture.gas_gradient), _length(column)), _pressure(gas)
        ),
        Step(
            _at("Pressure when the shoe breaks", mudline),
            "{0} − {1}",
            (_pressure(at_shoe), _pressure(gas)),
            _pressure(pressure),
        ),
    )


def _at_the_shoe(fracture: FractureGas, at_shoe: float) -> Step:
    gradient, depth = _gradient(fracture.fracture_gradient), _length(fracture.shoe_depth)
    label, result = "Fracture pressure at the shoe", _pressure(at_shoe)
    if not fracture.margin:
        return Step(label, "{0} × {1}", (gradient, depth), result)
    return Step(label, "({0} + {1}) × {2}", (gradient, _gradient(fracture.margin), depth), result)


def _less_seawater(pressure: GaugePressure, mudline: Mudline) -> tuple[GaugePressure, Step]:
    column = mudline.depth - mudline.air_gap
    seawater = mudline.seawater_gradient * column
    # A wellhead pressure below the sea's own leaves the sea pushing in: nothing from inside to hold.
    differential = GaugePressure(max(pressure - seawater, 0.0))
    terms = (_pressure(pressure), _gradient(mudline.seawater_gradient), _length(column))
    step = Step("Differential at the wellhead", "{0} − seawater {1} × {2}", terms, _pressure(differential))
    return differential, step


def _column(field: str, foot: float, mudline: Mudline | None) -> float:
    top = mudline.depth if mudline else 0.0
    if foot <= top:
        raise InputError(field, "The column's foot is not below the mudline.", "Check the depths.")
    return foot - top


def _positive(field: str, pressure: float) -> GaugePressure:
    if pressure <= 0:
        raise InputError(field, "The column outweighs the pressure below it.", "Check gradients, depth and pressure.")
    return GaugePressure(pressure)


def _lighter(gas_gradient: float, gradient: float, what: str) -> None:
    if gas_gradient >= gradient:
        raise InputError("gas_gradient", f"The gas is not lighter than the {what}.", "Check both and their units.")


def _within_gas(gradient: float) -> None:
    # Written so that not-a-number fails too.
    if not 0 <= gradient <= MAX_GAS_GRADIENT:
        raise InputError(
            "gas_gradient",
            "The gas gradient is not from zero (gas without weight, the most careful) to 0.25 psi/ft (5.7 kPa/m).",
            "Gas is usually taken at 0.1 to 0.15 psi/ft (common practice): check the figure and its unit.",
        )


def _within(field: str, value: float, highest: float, what: str) -> None:
    # Written so that not-a-number fails too.
    if not 0 < value <= highest:
        raise InputError(field, f"The {what} is not over zero or is absurdly high.", "Check the value and its unit.")


def _at(label: str, mudline: Mudline | None) -> str:
    return f"{label}, at the wellhead" if mudline else f"{label}, at surface"


def _pressure(si: float) -> Amount:
    return Amount(si, Dimension.PRESSURE)


def _gradient(si: float) -> Amount:
    return Amount(si, Dimension.PRESSURE_GRADIENT)


def _length(si: float) -> Amount:
    return Amount(si, Dimension.LENGTH)


def _density(si: float) -> Amount:
    return Amount(si, Dimension.DENSITY)
