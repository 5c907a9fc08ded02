"""Forms of test instruments."""

from django import forms

from calcs.units import Dimension
from equipment.models import InstrumentKind
from equipment.web.fields import QuantityFormField, day_input
from equipment.web.forms.base_form import HouseForm


def _figure(label: str, digits: int, places: int, note: str = "") -> forms.DecimalField:
    widget = forms.TextInput({"inputmode": "decimal", "class": "short", "autocomplete": "off"})
    return forms.DecimalField(
        label=label, required=False, max_digits=digits, decimal_places=places, help_text=note, widget=widget
    )


class InstrumentForm(HouseForm):
    """A gauge or recorder."""

    GROUPS = (
        ("Identity", "", ("kind", "serial", "maker", "model")),
        ("Range", "", ("range_low", "range_high", "accuracy_percent", "chart_hours")),
        (
            "Calibration",
            "A new calibration is entered here; the old one stays in the trail and on the records signed under it.",
            ("calibrated_on", "calibration_due_on", "certificate_number"),
        ),
    )

    kind = forms.ChoiceField(label="Kind", choices=[("", "Choose…"), *InstrumentKind.choices])
    serial = forms.CharField(label="Serial number", max_length=60)
    maker = forms.CharField(label="Maker", required=False, max_length=80)
    model = forms.CharField(label="Model", required=False, max_length=80)
    range_low = QuantityFormField(Dimension.PRESSURE, label="From", required=False)
    range_high = QuantityFormField(Dimension.PRESSURE, label="To", positive=True)
    accuracy_percent = _figure("Accuracy, % of full scale", 5, 3)
    chart_hours = _figure("Chart duration, hours", 5, 2, "Chart recorders only.")
    calibrated_on = forms.DateField(label="Calibrated on", required=False, widget=day_input())
    calibration_due_on = forms.DateField(label="Calibration due", required=False, widget=day_input())
    certificate_number = forms.CharField(label="Certificate number", required=False, max_length=80)


class InstrumentRetirementForm(HouseForm):
    """The day an instrument went out of use, and why."""

    retired_on = forms.DateField(label="Out of use since", widget=day_input())
    reason = forms.CharField(label="Reason", max_length=200)
