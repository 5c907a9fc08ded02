"""The way from a bank on file to the worksheet: its design figures in the address."""

from collections.abc import Sequence
from urllib.parse import urlencode

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.safestring import SafeString

from calcs.units import Dimension, from_si
from equipment.models import Bank, Bottle, BottleState, Component, ComponentKind
from equipment.queries import banks

_FIGURES = {
    "precharge": "design_precharge",
    "charged": "charged_pressure",
    "minimum": "minimum_operating_pressure",
    "temperature": "reference_temperature",
    "depth": "depth",
}
"""Field of the worksheet: figure of the bank."""


def worksheet_address(bank: Bank, serving: Sequence[Bottle]) -> str:
    """Return the worksheet's address for the bottles in service, of which there is one at least.

    Bottles of different sizes are taken as equal ones of the same sum, which gives the bank's fluid all the same.
    """
    first = serving[0].gas_volume
    mean = sum(bottle.gas_volume.si for bottle in serving) / len(serving)
    volume = first.text if first.si == mean else f"{from_si(mean, first.unit, Dimension.VOLUME):.8g}"
    asked = {
        "bottle_volume_number": volume,
        "bottle_volume_unit": first.unit,
        "count": str(len(serving)),
        "precharge_basis": bank.precharge_basis,
    }
    figures = {name: getattr(bank, of) for name, of in _FIGURES.items()}
    figures["fluid_gradient"] = bank.control_fluid_gradient if bank.depth else None
    for name, measured in figures.items():
        if measured is not None:
            asked |= {f"{name}_number": measured.text, f"{name}_unit": measured.unit}
    return f"{reverse('tests_app:bank-worksheet')}?{urlencode(asked)}"


def bank_worksheet(request: HttpRequest, component: Component) -> SafeString | None:
    """Return the part of a component's page that leads to the worksheet; nothing without a bank in service."""
    bank = banks.bank_of(component) if component.kind == ComponentKind.ACCUMULATOR_BANK else None
    if bank is None:
        return None
    standing = banks.bottles_standing(bank)
    serving = [bottle for bottle in standing if bottle.state == BottleState.IN_SERVICE]
    if not serving:
        return None
    context = {"address": worksheet_address(bank, serving), "bottles": len(serving)}
    return SafeString(render_to_string("tests_app/parts/bank_worksheet.html", context, request=request))
