"""The readings of a drawdown as a form: typed or pasted, a line for each."""

import re
from typing import Any, Final

from django import forms

from accounts.presentation import unit_label
from calcs import surface
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.gas import Model
from calcs.units import Dimension, System
from equipment.web.fields import VOLUMES, QuantityFormField
from tests_app.web.bank_fields import MODEL_CHOICES, BankFields
from tests_app.web.calculator_base import CalculationForm

MOST_TEXT: Final = 20_000
_BETWEEN: Final = re.compile(r"\s*[;\t]\s*|,\s+|\s+")
_THOUSANDS: Final = re.compile(r"-?\d{1,3}(,\d{3})+(\.\d+)?")
_TOTAL, _EACH = "total", "each"


class DrawdownFitForm(CalculationForm):
    """What a drawdown says about the gas of a bank."""

    name = "drawdown-fit"
    title = "Gas of a bank from a drawdown"
    summary = "What the pressures of a drawdown say about the gas in a bank, how surely, and what they can’t tell."
    bottle_volume = BankFields.base_fields["bottle_volume"]
    count = BankFields.base_fields["count"]
    precharge = QuantityFormField(Dimension.PRESSURE, label="Precharge of the nameplate", positive=True)
    model = forms.ChoiceField(
        label="State of the gas when read",
        choices=MODEL_CHOICES,
        initial=Model.NITROGEN_ISENTROPIC.value,
        help_text="Read at once: discharged at once and cold. Read after a wait: settled. "
        "The answer hangs on it more than on anything else.",
    )
    temperature = BankFields.base_fields["temperature"]
    pressure_accuracy = QuantityFormField(
        Dimension.PRESSURE,
        label="Scatter of one reading",
        required=False,
        help_text="One standard deviation, where known; else the readings’ own scatter counts.",
    )
    volume_unit = forms.ChoiceField(label="Fluid in", choices=[(one, unit_label(one)) for one in VOLUMES])
    pressure_unit = forms.ChoiceField(label="Pressure in", choices=[(one, one) for one in ("psi", "kPa", "bar", "MPa")])
    counted = forms.ChoiceField(
        label="Fluid counted",
        choices=[(_TOTAL, "In all since the start"), (_EACH, "For each function by itself")],
    )
    readings = forms.CharField(
        label="Readings, a line for each",
        max_length=MOST_TEXT,
        widget=forms.Textarea({"rows": 9, "spellcheck": "false", "placeholder": "0  3000\n20  2410\n32  2150"}),
        help_text="Fluid, then gauge pressure, as written or pasted from a sheet. The first line is the start: 0 and "
        "the start pressure.",
    )
    places = {
        "nameplate": "bottle_volume",
        "nameplate.bottle_volume": "bottle_volume",
        "nameplate.count": "count",
        "nameplate.precharge": "precharge",
        "points": "readings",
    }

    def __init__(self, data: Any = None, files: Any = None, *, units: System = "us") -> None:
        super().__init__(data, files, units=units)
        if units == "si":
            self.initial.update({"volume_unit": "L", "pressure_unit": "kPa"})
        self.points: list[dict[str, str]] = []

    def clean_readings(self) -> str:
        """Read the lines; refuses one that is no pair of numbers, by its number."""
        text: str = self.cleaned_data["readings"]
        lines = [(number, line.strip()) for number, line in enumerate(text.splitlines(), start=1) if line.strip()]
        if lines and not re.search(r"\d", lines[0][1]):
            lines = lines[1:]  # the heads of a pasted table
        self._pairs = [(number, *_pair(number, line)) for number, line in lines]
        return text

    def clean(self) -> dict[str, Any]:
        """Count the fluid from the start, and name the line a refusal is about."""
        if not self.errors:
            self.points = self._points()
            try:
                surface.named(self.name).parse(Fields(self.document()), ())
            except InputError as refusal:
                index = re.match(r"points\.(\d+)", refusal.field)
                if index:
                    self.add_error("readings", f"Line {self._pairs[int(index[1])][0]}: {refusal}")
        return self.cleaned_data

    def _points(self) -> list[dict[str, str]]:
        drawn, points = 0.0, []
        for _, fluid, pressure in self._pairs:
            drawn = drawn + fluid if self.cleaned_data["counted"] == _EACH else fluid
            points.append(
                {
                    "withdrawn": f"{drawn:.10g} {self.cleaned_data['volume_unit']}",
                    "pressure": f"{pressure:.10g} {self.cleaned_data['pressure_unit']}",
                }
            )
        return points

    def document(self) -> dict[str, Any]:
        """Return the document."""
        nameplate = {**self.given("bottle_volume", "precharge"), "count": self.cleaned_data["count"]}
        asked = self.given("model", "temperature", "pressure_accuracy")
        return {"points": self.points, "nameplate": nameplate, **asked}


def _pair(number: int, line: str) -> tuple[float, float]:
    parts = [part for part in _BETWEEN.split(line) if part]
    if len(parts) == 1:
        parts = parts[0].split(",")
    if len(parts) != 2:
        raise forms.ValidationError(
            f"Line {number}, “{line[:40]}”, is no pair of numbers. Write the fluid, a space, the pressure."
        )
    fluid, pressure = (_number(number, part) for part in parts)
    return fluid, pressure


def _number(line: int, text: str) -> float:
    plain = text.replace("\u2212", "-")
    plain = plain.replace(",", "") if _THOUSANDS.fullmatch(plain) else plain
    if not re.fullmatch(r"-?\d{1,12}(\.\d{0,12})?", plain):
        raise forms.ValidationError(
            f"Line {line}: “{text[:40]}” is not a number. Write digits with a decimal point, such as 2410."
        )
    return float(plain)
