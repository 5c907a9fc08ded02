"""The way from a bank on file to the worksheet: its design figures in the address."""

from collections.abc import Sequence
from urllib.parse import urlencode

from django.urls import reverse

from calcs.units import Dimension, from_si
from equipment.models import Bank, Bottle

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
