"""The calculations as forms: each writes the document its calculation reads."""

from collections.abc import Mapping
from typing import Any, Final

from django import forms

from calcs.rules import KIND_LABELS, Occasion, Position, PressureRule, Side
from calcs.units import ENTRY_UNITS, Dimension
from equipment.models.rigs import validate_time_zone
from equipment.web.fields import DEPTHS, QuantityFormField
from tests_app import rulebook
from tests_app.web.calculator_bank_forms import BANK_FORMS
from tests_app.web.calculator_base import CalculationForm
from tests_app.web.calculator_hold_forms import FindHoldsForm, HoldCheckForm

GRADIENTS: Final = (*ENTRY_UNITS[Dimension.PRESSURE_GRADIENT],)
_CONSTANTS: Final = [("exact", "Exact"), ("0.052", "Rounded, 0.052")]


class HydrostaticForm(CalculationForm):
    """A mud column."""

    name = "hydrostatic"
    title = "Hydrostatic pressure"
    summary = "Pressure of a mud column at a true vertical depth."
    mud_weight = QuantityFormField(Dimension.DENSITY, label="Mud weight", positive=True)
    depth = QuantityFormField(Dimension.LENGTH, DEPTHS, label="True vertical depth")
    constant = forms.ChoiceField(
        label="Units",
        choices=_CONSTANTS,
        required=False,
        help_text="The rounded rule of thumb, 0.052 × lb/gal × ft, reads a little high.",
    )

    def document(self) -> dict[str, Any]:
        """Return the document."""
        return self.given("mud_weight", "depth", "constant")


class MaspForm(CalculationForm):
    """Maximum anticipated surface pressure."""

    name = "masp"
    title = "Maximum anticipated surface pressure (MASP)"
    summary = "What the wellhead may see: formation or fracture pressure less the gas column."
    method = forms.ChoiceField(
        label="Method",
        choices=[
            ("pore-gas", "Formation pressure less the gas column"),
            ("fracture-gas", "Fracture pressure at the shoe less the gas column"),
            ("lesser", "The lesser of both"),
        ],
    )
    pore_pressure = QuantityFormField(Dimension.PRESSURE, label="Pore pressure", required=False)
    mud_weight = QuantityFormField(
        Dimension.DENSITY,
        label="or mud weight that balances it",
        required=False,
        help_text="Give the pore pressure or this, not both.",
    )
    depth = QuantityFormField(Dimension.LENGTH, DEPTHS, label="Depth of the formation", required=False)
    gas_fraction = forms.DecimalField(
        label="Share of the column that is gas", required=False, help_text="1 for gas to surface; the rest is mud."
    )
    fracture_gradient = QuantityFormField(
        Dimension.PRESSURE_GRADIENT, GRADIENTS, label="Fracture gradient at the shoe", required=False
    )
    shoe_depth = QuantityFormField(Dimension.LENGTH, DEPTHS, label="Depth of the shoe", required=False)
    fracture_margin = QuantityFormField(Dimension.PRESSURE_GRADIENT, GRADIENTS, label="Margin on it", required=False)
    gas_gradient = QuantityFormField(Dimension.PRESSURE_GRADIENT, GRADIENTS, label="Gas gradient")
    mudline_depth = QuantityFormField(
        Dimension.LENGTH, DEPTHS, label="Depth of the mudline", required=False, help_text="Subsea wells only."
    )
    air_gap = QuantityFormField(Dimension.LENGTH, DEPTHS, label="Air gap", required=False)
    places = {"margin": "fracture_margin"}
    when = {
        **dict.fromkeys(("pore_pressure", "mud_weight", "depth", "gas_fraction"), ("method", "pore-gas lesser")),
        **dict.fromkeys(("fracture_gradient", "shoe_depth", "fracture_margin"), ("method", "fracture-gas lesser")),
    }

    def document(self) -> dict[str, Any]:
        """Return the document: only what the method reads."""
        method = self.cleaned_data["method"]
        names = ["method", "gas_gradient", "mudline_depth", "air_gap"]
        if method != "fracture-gas":
            names += ["pore_pressure", "mud_weight", "depth", "gas_fraction"]
        if method != "pore-gas":
            names += ["fracture_gradient", "shoe_depth"]
        found: dict[str, Any] = self.given(*names)
        margin = self.given("fracture_margin") if method != "pore-gas" else {}
        if margin:
            found["margin" if method == "fracture-gas" else "fracture_margin"] = margin["fracture_margin"]
        if "mudline_depth" not in found:
            found.pop("air_gap", None)
        return found


def _edition_choices() -> list[tuple[str, str]]:
    return [(one.id, f"{one.title}, {one.edition}") for one in rulebook.editions() if one.asks_pressure_tests]


def _occasion_choices() -> list[tuple[str, str]]:
    """Return the occasions some edition asks for a pressure test on; the others call for other things."""
    rules = [rule for one in rulebook.editions() for rule in one.rules if isinstance(rule, PressureRule)]
    called = {Occasion.INTERVAL, *(event.occasion for rule in rules for event in rule.events)}
    return [(one.value, one.value.replace("-", " ").capitalize()) for one in Occasion if one in called]


class TestPressuresForm(CalculationForm):
    """What a rule asks of one component."""

    __test__ = False
    name = "test-pressures"
    title = "Test pressures"
    summary = "Low band, high pressure and hold a rule requires of a component."
    rule = forms.ChoiceField(label="Rules", choices=_edition_choices)
    kind = forms.ChoiceField(
        label="Component", choices=[(key, f"{word[:1].upper()}{word[1:]}") for key, word in KIND_LABELS.items()]
    )
    rwp = QuantityFormField(Dimension.PRESSURE, label="Its rated working pressure", positive=True)
    stack = forms.ChoiceField(label="Stack", choices=[("surface", "Surface"), ("subsea", "Subsea")])
    position = forms.ChoiceField(
        label="Where it stands",
        required=False,
        choices=[(one.value, one.value.replace("-", " ").capitalize() or "Does not matter") for one in Position],
    )
    side = forms.ChoiceField(
        label="Pressed from",
        required=False,
        choices=[
            (Side.NONE.value, "Does not matter"),
            (Side.INSIDE.value, "The well side"),
            (Side.OUTSIDE.value, "The far side"),
        ],
    )
    occasion = forms.ChoiceField(
        label="Occasion",
        required=False,
        choices=_occasion_choices,
    )
    masp = QuantityFormField(Dimension.PRESSURE, label="MASP of the section", required=False)
    approval = forms.CharField(
        label="Permit that allows MASP plus a margin", required=False, max_length=120, help_text="Its reference."
    )
    approved_pressure = QuantityFormField(
        Dimension.PRESSURE, label="Pressure it names", required=False, help_text="Where the rules leave it to a permit."
    )
    weakest_part = QuantityFormField(
        Dimension.PRESSURE, label="Weakest exposed part", required=False, help_text="Never tested above this."
    )
    annular_rwp = QuantityFormField(Dimension.PRESSURE, label="Rating of the annular above it", required=False)
    recorder = forms.ChoiceField(
        label="Recorder", choices=[("none", "None"), ("chart", "Chart, up to 1 hour"), ("digital", "Digital")]
    )
    places = {
        "component.kind": "kind",
        "component.rwp": "rwp",
        "approval.reference": "approval",
        "approval.pressure": "approved_pressure",
    }

    def document(self) -> dict[str, Any]:
        """Return the document."""
        names = ("rule", "stack", "position", "side", "occasion", "masp", "approval", "weakest_part", "annular_rwp")
        found = {
            "component": self.given("kind", "rwp"),
            **self.given(*names, "casing_burst", "casing_depth", "recorder"),
        }
        pressure = self.given("approved_pressure").get("approved_pressure")
        if pressure is not None:
            found["approval"] = {"reference": found.get("approval", ""), "pressure": pressure}
        return found


class DueForm(CalculationForm):
    """When the next test must begin."""

    name = "due"
    title = "Deadlines"
    summary = "When the next test of an item must begin, on the rig's own clock."
    concluded = forms.CharField(
        label="Last passing test concluded",
        widget=forms.TextInput({"type": "datetime-local", "class": "medium"}),
        help_text="On the rig's clock.",
    )
    interval = forms.CharField(label="Interval", initial="14 d", help_text="Such as 14 d, 3 weeks, 6 months, 336 h.")
    deadline = forms.ChoiceField(
        label="It ends",
        choices=[("midnight", "With the last day, at midnight"), ("exact", "To the hour")],
    )
    zone = forms.CharField(
        label="Time zone", initial="America/Chicago", validators=[validate_time_zone], help_text="IANA name."
    )
    at = forms.CharField(
        label="Asked for the moment",
        widget=forms.TextInput({"type": "datetime-local", "class": "medium"}),
        help_text="How it stands then.",
    )
    places = {"history.0.concluded": "concluded", "history.0.started": "concluded"}

    def document(self) -> dict[str, Any]:
        """Return the document."""
        concluded = self.cleaned_data["concluded"]
        tested = {"event": "tested", "started": concluded, "concluded": concluded, "passed": True}
        return {**self.given("interval", "deadline", "zone", "at"), "history": [tested]}


_FORMS: Final[tuple[type[CalculationForm], ...]] = (
    HydrostaticForm,
    MaspForm,
    TestPressuresForm,
    HoldCheckForm,
    FindHoldsForm,
    DueForm,
    *BANK_FORMS,
)
CALCULATION_FORMS: Final[Mapping[str, type[CalculationForm]]] = {form.name: form for form in _FORMS}
"""Every calculation that has a page, in the order they are listed."""
