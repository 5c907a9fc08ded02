"""The fields of an accumulator bank, as every form that asks for one has them."""

from typing import Any, Final

from django import forms

from calcs.accumulators import MAX_COUNT, PrechargeBasis
from calcs.gas import Model
from calcs.units import ENTRY_UNITS, Dimension
from equipment.web.fields import DEPTHS, VOLUMES, QuantityFormField
from tests_app.web.calculator_base import CalculationForm, written

MODEL_TITLES: Final = {
    Model.BOYLE_GAUGE: "Hand sum",
    Model.BOYLE: "Boyle, absolute",
    Model.NITROGEN_ISOTHERMAL: "Nitrogen, slow",
    Model.NITROGEN_ISENTROPIC: "Nitrogen, fast",
}
"""The models as headings, from the hand sum to the hardest on the bank."""
MODELS_SPOKEN: Final = {
    Model.BOYLE_GAUGE: "the hand sum",
    Model.BOYLE: "Boyle’s law",
    Model.NITROGEN_ISOTHERMAL: "slow nitrogen",
    Model.NITROGEN_ISENTROPIC: "fast nitrogen",
}
"""The models within a sentence."""
MODEL_CHOICES: Final = [(model.value, f"{title}: {model.words}") for model, title in MODEL_TITLES.items()]
BASIS_CHOICES: Final = [
    (PrechargeBasis.ABOVE_HYDROSTATIC.value, "Over the fluid column at depth"),
    (PrechargeBasis.AS_SET.value, "As set, read on deck"),
]
BANK_NAMES: Final = (
    "bottle_volume",
    "precharge",
    "temperature",
    "depth",
    "fluid_gradient",
    "precharge_basis",
    "sea_temperature",
)


class BankFields(CalculationForm):
    """A bank of equal bottles and what it is charged to."""

    bottle_volume = QuantityFormField(
        Dimension.VOLUME,
        VOLUMES,
        label="Gas volume of a bottle",
        positive=True,
        help_text="Without fluid: an 11 gal bottle holds 10 gal of gas.",
    )
    count = forms.IntegerField(
        label="Bottles open to the bank",
        min_value=1,
        max_value=MAX_COUNT,
        initial=1,
        widget=forms.TextInput({"inputmode": "numeric", "class": "short", "autocomplete": "off"}),
    )
    precharge = QuantityFormField(Dimension.PRESSURE, label="Precharge", positive=True)
    charged = QuantityFormField(Dimension.PRESSURE, label="Charged to", positive=True)
    temperature = QuantityFormField(
        Dimension.TEMPERATURE,
        ENTRY_UNITS[Dimension.TEMPERATURE],
        label="Gas temperature",
        required=False,
        help_text="Settled; 60 °F (15.6 °C) when empty.",
    )
    depth = QuantityFormField(
        Dimension.LENGTH, DEPTHS, label="Depth of the bottles", required=False, help_text="Subsea banks only."
    )
    precharge_basis = forms.ChoiceField(label="Precharge counted", choices=BASIS_CHOICES, required=False)
    fluid_gradient = QuantityFormField(
        Dimension.PRESSURE_GRADIENT,
        label="Gradient of the fluid column",
        required=False,
        help_text="0.445 psi/ft when empty.",
    )
    sea_temperature = QuantityFormField(
        Dimension.TEMPERATURE,
        ENTRY_UNITS[Dimension.TEMPERATURE],
        label="Sea temperature",
        required=False,
        help_text="Corrects a precharge as set on deck.",
    )

    def bank_document(self) -> dict[str, Any]:
        """Return the bank as a document of the calculations, without its model."""
        return {**self.given(*BANK_NAMES), "count": self.cleaned_data["count"]}

    def charged_document(self, *names: str) -> dict[str, Any]:
        """Return the bank, its charged pressure and the other fields named."""
        return {**self.bank_document(), "charged": written(self.cleaned_data["charged"]), **self.given(*names)}
