"""The maximum anticipated surface pressure of a hole section, worked out from its figures."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from calcs.errors import InputError
from calcs.pressures import FractureGas, Masp, Mudline, PoreGas, masp
from calcs.units import Dimension, GaugePressure, Quantity, System, shown
from calcs.working import Amount, Step
from equipment.errors import Refused
from equipment.models import DisplayUnits, HoleSection, MaspMethod, Measured, Rig, StackKind, Well

_FIELDS: Final = {
    "depth": "total_depth",
    "pore_pressure": "pore_gradient",
    "shoe_depth": "casing_shoe_depth",
    "mudline_depth": "water_depth",
}
"""What the calculation calls a value, and the section's field it comes from."""
_PLACES: Final = 1
_LARGE_KPA: Final = 10_000


def is_subsea(rig: Rig) -> bool:
    """Tell whether the rig's stack stands on the sea floor, so that the pressure is taken at the wellhead."""
    return bool(rig.stacks.filter(kind=StackKind.SUBSEA).exists())


def worked_out(section: HoleSection, *, subsea: bool) -> Masp:
    """Return the MASP by the section's method, gauge, in Pa, with every step; subsea at the wellhead.

    Formation pressure is the pore gradient over the true vertical depth; without one the mud weight
    stands for it. Raises Refused naming the section's field that is missing or out of range.
    """
    method = section.masp_method
    if not method:
        raise Refused("masp_method", "No method is chosen.", "Choose one, or enter the figure with its reason.")
    try:
        pore = _pore(section) if method in (MaspMethod.PORE_GAS, MaspMethod.LESSER) else None
        fracture = _fracture(section) if method in (MaspMethod.FRACTURE_GAS, MaspMethod.LESSER) else None
        found = masp(pore, fracture, mudline=_mudline(section) if subsea else None)
    except InputError as error:
        raise Refused(_FIELDS.get(error.field, error.field), error.reason, error.remedy) from error
    return found if section.pore_gradient is None or pore is None else _led_by_gradient(section, found)


def with_figures(well: Well, figures: Mapping[str, Any]) -> HoleSection:
    """Return a section of the well as it would be with these figures; nothing is saved."""
    section = HoleSection(well=well)
    for name, value in figures.items():
        setattr(section, name, value)
    return section


def figure(found: Masp, rig: Rig) -> Quantity:
    """Return the figure as it is stored: in the rig's unit of pressure, to one place; from 10 MPa on in MPa."""
    quantity = shown(found.pressure_gauge, Dimension.PRESSURE, system_of(rig))
    if quantity.unit == "kPa" and quantity.value >= _LARGE_KPA:
        return Quantity(round(quantity.value / 1000, _PLACES + 3), "MPa")
    return Quantity(round(quantity.value, _PLACES), quantity.unit)


def system_of(rig: Rig) -> System:
    """Return the rig's unit system as the calculations name it."""
    return "si" if rig.display_units == DisplayUnits.SI else "us"


def as_json(steps: tuple[Step, ...]) -> list[dict[str, Any]]:
    """Return the steps as they are stored: every amount in SI with its dimension, so that any reader's units do."""
    return [
        {
            "label": step.label,
            "expression": step.expression,
            "terms": [_amount_json(term) for term in step.terms],
            "value": _amount_json(step.value),
        }
        for step in steps
    ]


def working_lines(section: HoleSection, system: System) -> list[str]:
    """Return the stored working of the section's MASP as lines in the units of `system`; none for an entered one."""
    return [_step(stored).line(system) for stored in section.masp_working]


@dataclass(frozen=True)
class ShownStep:
    """A step of the sum as it is written: what is found, how, and what came out."""

    label: str
    how: str
    value: str


def shown_steps(section: HoleSection, system: System) -> list[ShownStep]:
    """Return the stored working of the section, step by step, in the units of `system`."""
    return steps_in(tuple(_step(stored) for stored in section.masp_working), system)


def steps_in(steps: tuple[Step, ...], system: System) -> list[ShownStep]:
    """Return the steps of a working as they are written in the units of `system`."""
    return [
        ShownStep(
            step.label, step.expression.format(*(term.text(system) for term in step.terms)), step.value.text(system)
        )
        for step in steps
    ]


def _led_by_gradient(section: HoleSection, found: Masp) -> Masp:
    """Put the step from gradient to formation pressure before the others: the sum opens with what was entered."""
    gradient, depth = section.pore_gradient, section.total_depth
    step = Step(
        "Formation pressure",
        "{0} × {1}",
        (Amount(gradient.si, Dimension.PRESSURE_GRADIENT), Amount(depth.si, Dimension.LENGTH)),
        Amount(gradient.si * depth.si, Dimension.PRESSURE),
    )
    return Masp(found.pressure_gauge, found.governs, (step, *found.working), found.differential_gauge, found.considered)


def _pore(section: HoleSection) -> PoreGas:
    depth = _needed(section, "total_depth", "total depth")
    gas = _needed(section, "gas_gradient", "gas gradient")
    pore: Measured | None = section.pore_gradient
    if pore is not None:
        return PoreGas(depth, gas, pore_pressure_gauge=GaugePressure(pore.si * depth))
    if section.mud_weight is None:
        raise Refused(
            "pore_gradient", "The pore gradient is missing.", "Give it, or the mud weight that stands for it."
        )
    return PoreGas(depth, gas, mud_weight=section.mud_weight.si)


def _fracture(section: HoleSection) -> FractureGas:
    return FractureGas(
        shoe_depth=_needed(section, "casing_shoe_depth", "depth of the casing shoe"),
        fracture_gradient=_needed(section, "fracture_gradient", "fracture gradient"),
        gas_gradient=_needed(section, "gas_gradient", "gas gradient"),
        mud_weight=None if section.mud_weight is None else section.mud_weight.si,
    )


def _mudline(section: HoleSection) -> Mudline:
    water = section.well.water_depth
    if water is None:
        raise Refused("water_depth", "The well has no water depth.", "Give it on the well's page: the stack is subsea.")
    air_gap = section.well.air_gap.si if section.well.air_gap else 0.0
    return Mudline(depth=water.si + air_gap, air_gap=air_gap)


def _needed(section: HoleSection, field: str, what: str) -> float:
    measured: Measured | None = getattr(section, field)
    if measured is None:
        raise Refused(field, f"The {what} is missing.", "Give it, or choose another method.")
    return measured.si


def _amount_json(amount: Amount) -> dict[str, Any]:
    return {"si": amount.si, "dimension": amount.dimension.value}


def _step(stored: dict[str, Any]) -> Step:
    terms = tuple(_amount(term) for term in stored["terms"])
    return Step(stored["label"], stored["expression"], terms, _amount(stored["value"]))


def _amount(stored: dict[str, Any]) -> Amount:
    return Amount(stored["si"], Dimension(stored["dimension"]))
