"""The surfaces ``hydrostatic`` and ``masp``."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calcs import pressures, working
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.pressures import SEAWATER_GRADIENT, FractureGas, Hydrostatic, Masp, Mudline, PoreGas
from calcs.rules import Edition
from calcs.surfaces.answers import quantity
from calcs.units import Dimension, GaugePressure, System

METHODS = ("pore-gas", "fracture-gas", "lesser")


@dataclass(frozen=True, slots=True)
class HydrostaticQuestion:
    """A mud and a true vertical depth."""

    density: float
    depth: float
    rounded: bool


@dataclass(frozen=True, slots=True)
class MaspQuestion:
    """One or both methods, and the mudline of a subsea well."""

    pore: PoreGas | None
    fracture: FractureGas | None
    mudline: Mudline | None


def parse_hydrostatic(fields: Fields, _: Sequence[Edition]) -> HydrostaticQuestion:
    """Read mud weight and depth, and whether to use the rounded constant."""
    return HydrostaticQuestion(
        fields.si("mud_weight", Dimension.DENSITY), fields.si("depth", Dimension.LENGTH), _rounded(fields)
    )


def compute_hydrostatic(asked: HydrostaticQuestion) -> Hydrostatic:
    """Answer the question."""
    return pressures.hydrostatic(asked.density, asked.depth, rounded=asked.rounded)


def format_hydrostatic(found: Hydrostatic, system: System) -> dict[str, Any]:
    """Write pressure, gradient and working."""
    return {
        "pressure": quantity(found.pressure_gauge, Dimension.PRESSURE, system),
        "gradient": quantity(found.gradient, Dimension.PRESSURE_GRADIENT, system),
        "working": working.lines(found.working, system),
    }


def parse_masp(fields: Fields, _: Sequence[Edition]) -> MaspQuestion:
    """Read the method and what it needs.

    A ``mud_weight`` given with ``fracture-gas`` is only held against the fracture gradient, which lies above it.
    With ``lesser`` a plain ``margin`` is added in both methods; ``pore_margin`` and ``fracture_margin``
    set them apart.
    """
    method = fields.choice("method", METHODS)
    rounded = _rounded(fields)
    pore = _pore(fields, rounded, method) if method != "fracture-gas" else None
    fracture = _fracture(fields, rounded, method) if method != "pore-gas" else None
    return MaspQuestion(pore, fracture, _mudline(fields))


def compute_masp(asked: MaspQuestion) -> Masp:
    """Answer the question."""
    return pressures.masp(asked.pore, asked.fracture, mudline=asked.mudline)


def format_masp(found: Masp, system: System) -> dict[str, Any]:
    """Write the pressure, what governs, the differential of a subsea well, and the working."""
    answer: dict[str, Any] = {
        "pressure": quantity(found.pressure_gauge, Dimension.PRESSURE, system),
        "governs": found.governs.value,
        "considered": {
            method.value: quantity(figure, Dimension.PRESSURE, system) for method, figure in found.considered
        },
    }
    if found.differential_gauge is not None:
        answer["wellhead_pressure"] = answer["pressure"]
        answer["differential"] = quantity(found.differential_gauge, Dimension.PRESSURE, system)
    return {**answer, "working": working.lines(found.working, system)}


def _rounded(fields: Fields) -> bool:
    """Read the option ``"constant": "0.052"``; as a number it means the same."""
    if not fields.has("constant"):
        return False
    given = fields.any("constant")
    if isinstance(given, bool) or given not in ("0.052", 0.052, "exact"):
        raise InputError(fields.path("constant"), "Only the rounded constant 0.052 is known.", "Give 0.052 or exact.")
    return bool(given != "exact")


def _pore(fields: Fields, rounded: bool, method: str) -> PoreGas:
    pore_pressure = fields.si_or_none("pore_pressure", Dimension.PRESSURE)
    mud_weight = fields.si_or_none("mud_weight", Dimension.DENSITY)
    margin = _pore_margin(fields, pore_pressure, method)
    return PoreGas(
        depth=fields.si("depth", Dimension.LENGTH),
        gas_gradient=_gas_gradient(fields),
        pore_pressure_gauge=None if pore_pressure is None else GaugePressure(pore_pressure),
        mud_weight=mud_weight,
        margin=margin,
        gas_fraction=fields.si("gas_fraction", Dimension.RATIO) if fields.has("gas_fraction") else 1.0,
        rounded=rounded,
    )


def _pore_margin(fields: Fields, pore_pressure: float | None, method: str) -> float:
    if method == "lesser" and fields.has("pore_margin"):
        return fields.si("pore_margin", Dimension.DENSITY)
    if method == "lesser" and pore_pressure is not None:
        return 0.0  # a plain margin is then the fracture gradient's alone
    return fields.si("margin", Dimension.DENSITY) if fields.has("margin") else 0.0


def _fracture(fields: Fields, rounded: bool, method: str) -> FractureGas:
    key = "fracture_margin" if method == "lesser" and fields.has("fracture_margin") else "margin"
    return FractureGas(
        shoe_depth=fields.si("shoe_depth", Dimension.LENGTH),
        fracture_gradient=_gradient(fields, "fracture_gradient", rounded),
        gas_gradient=_gas_gradient(fields),
        margin=_gradient(fields, key, rounded) if fields.has(key) else 0.0,
        mud_weight=fields.si_or_none("mud_weight", Dimension.DENSITY),
    )


def _gas_gradient(fields: Fields) -> float:
    return _gradient(fields, "gas_gradient", rounded=False)


def _gradient(fields: Fields, key: str, rounded: bool) -> float:
    """Read a gradient, or the mud weight that stands for it (``"14.2 lb/gal"``), which may be taken as rounded."""
    try:
        return pressures.gradient_of(fields.si(key, Dimension.DENSITY), rounded=rounded)
    except InputError:
        return fields.si(key, Dimension.PRESSURE_GRADIENT)


def _mudline(fields: Fields) -> Mudline | None:
    if not fields.has("mudline_depth"):
        return None
    seawater = _gradient(fields, "seawater_gradient", rounded=False) if fields.has("seawater_gradient") else None
    return Mudline(
        depth=fields.si("mudline_depth", Dimension.LENGTH),
        air_gap=fields.si("air_gap", Dimension.LENGTH) if fields.has("air_gap") else 0.0,
        seawater_gradient=SEAWATER_GRADIENT if seawater is None else seawater,
    )
