"""Forms of accumulator banks: the bank, its bottles, and a round of precharge readings on one page."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.forms.boundfield import BoundField

from accounts.presentation import unit_label
from calcs.units import ENTRY_UNITS, Dimension, System
from equipment.actions.banks import Read
from equipment.models import BankLocation, BankPurpose, Bottle, BottleState, Instrument, Measured, PrechargeBasis
from equipment.queries.instruments import expiry_on
from equipment.web.fields import DEPTHS, VOLUMES, QuantityFormField, RigTimeField, day_input
from equipment.web.forms.base_form import HouseForm

_PRESSURE: Final = "pressure"
_TEMPERATURE: Final = "gas_temperature"
_DIMENSIONS: Final = {_PRESSURE: Dimension.PRESSURE, _TEMPERATURE: Dimension.TEMPERATURE}


def _pressure(label: str, *, required: bool = True, note: str = "") -> QuantityFormField:
    return QuantityFormField(Dimension.PRESSURE, label=label, required=required, positive=True, help_text=note)


def _gradient(label: str, note: str = "") -> QuantityFormField:
    return QuantityFormField(Dimension.PRESSURE_GRADIENT, label=label, required=False, positive=True, help_text=note)


class BankForm(HouseForm):
    """A bank, as in its papers."""

    GROUPS = (
        ("What it is for", "", ("purpose", "location", "depth")),
        (
            "Precharge",
            "Gauge pressures of nitrogen alone, with no fluid in the bottles.",
            (
                "design_precharge",
                "reference_temperature",
                "precharge_basis",
                "precharge_tolerance",
                "tolerance_source",
            ),
        ),
        ("Working pressures", "", ("charged_pressure", "minimum_operating_pressure")),
        (
            "Fluid columns",
            "Needed subsea. Control fluid is mostly water: 0.433 to 0.445 psi/ft by its glycol; seawater 0.44 to "
            "0.448 psi/ft (from memory: take your own figures).",
            ("control_fluid_gradient", "seawater_gradient"),
        ),
        ("Remarks", "", ("remarks",)),
    )

    purpose = forms.ChoiceField(label="Purpose", choices=[("", "Choose…"), *BankPurpose.choices])
    location = forms.ChoiceField(label="Location", choices=BankLocation.choices)
    depth = QuantityFormField(
        Dimension.LENGTH, DEPTHS, label="Depth below sea level", required=False, positive=True, help_text="Subsea only."
    )
    design_precharge = _pressure("Design precharge")
    reference_temperature = QuantityFormField(
        Dimension.TEMPERATURE,
        ("degF", "degC"),
        label="At a gas temperature of",
        help_text="Readings are brought to this temperature before they are compared.",
    )
    precharge_basis = forms.ChoiceField(
        label="The design precharge is", choices=PrechargeBasis.choices, initial=PrechargeBasis.AS_SET
    )
    precharge_tolerance = _pressure(
        "Tolerance, either side", required=False, note="Readings are not judged without one."
    )
    tolerance_source = forms.CharField(
        label="Source of the tolerance",
        required=False,
        max_length=160,
        help_text="The standard with its edition, the maker's manual or your procedure. API Standard 53, 4th edition, "
        "is said to allow 100 psi (from memory: check your own copy).",
    )
    charged_pressure = _pressure("Charged (rated) pressure")
    minimum_operating_pressure = _pressure(
        "Minimum operating pressure", required=False, note="The least that still works the functions it serves."
    )
    control_fluid_gradient = _gradient("Control fluid")
    seawater_gradient = _gradient("Seawater", "When empty, the control fluid's stands for both.")
    remarks = forms.CharField(label="Remarks", required=False, max_length=4000, widget=forms.Textarea({"rows": 3}))


class BottleForm(HouseForm):
    """A bottle, as on its nameplate."""

    GROUPS = (
        ("Bottle", "", ("position_number", "serial")),
        (
            "Volumes",
            "Both are asked for since they differ: a bottle sold as 11 gal holds 10 gal of gas. The sums use the gas.",
            ("shell_volume", "gas_volume"),
        ),
        ("Hydrostatic test of the shell", "", ("shell_tested_on", "shell_test_due_on")),
        ("In service", "", ("in_service_on",)),
    )

    position_number = forms.IntegerField(
        label="Position",
        min_value=1,
        max_value=999,
        widget=forms.TextInput({"inputmode": "numeric", "class": "short", "autocomplete": "off"}),
        help_text="As numbered on the rack.",
    )
    serial = forms.CharField(label="Serial number", max_length=60)
    shell_volume = QuantityFormField(Dimension.VOLUME, VOLUMES, label="Shell volume", positive=True)
    gas_volume = QuantityFormField(Dimension.VOLUME, VOLUMES, label="Gas volume", positive=True)
    shell_tested_on = forms.DateField(label="Last tested on", required=False, widget=day_input())
    shell_test_due_on = forms.DateField(label="Next test due", required=False, widget=day_input())
    in_service_on = forms.DateField(label="In service since", widget=day_input())

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        if self.row is not None:
            del self.fields["in_service_on"]


class BottleStateForm(HouseForm):
    """The state a bottle is put in, since when and why."""

    state = forms.ChoiceField(label="State", choices=[("", "Choose…"), *BottleState.choices])
    state_since = forms.DateField(label="Since", widget=day_input())
    state_reason = forms.CharField(label="Reason", max_length=200)


class CorrectionForm(HouseForm):
    """What should stand in place of a reading."""

    pressure = QuantityFormField(Dimension.PRESSURE, label="Pressure as read", help_text="Gauge.")
    gas_temperature = QuantityFormField(Dimension.TEMPERATURE, ("degF", "degC"), label="Gas temperature")
    reason = forms.CharField(label="What was wrong", max_length=200)


class GaugeField(forms.ModelChoiceField):
    """The gauge that was read, each offered with its range and how its calibration stands on `day`."""

    def __init__(self, *args: Any, day: date, **options: Any) -> None:
        self.day = day
        super().__init__(*args, **options)

    def label_from_instance(self, obj: Any) -> str:
        """Return what a person needs to know before choosing it."""
        standing = expiry_on(self.day, due=obj.calibration_due_on, missing="no date on file")
        return f"{obj}, to {obj.range_high}; calibration: {standing.words[:1].lower()}{standing.words[1:]}"


@dataclass(frozen=True)
class BottleRow:
    """The two inputs of one bottle."""

    bottle: Bottle
    fields: tuple[BoundField, BoundField]


class PrechargeCheckForm(HouseForm):
    """A round of readings: what holds for all, then one row a bottle. A row left empty was not read."""

    GROUPS = (
        ("The round", "", ("taken_at", "taken_by", "instrument", "fluid_bled_off")),
        ("Units and temperature", "", ("pressure_unit", "temperature_unit", "common_temperature")),
    )

    taken_by = forms.CharField(label="Read by", max_length=150)
    fluid_bled_off = forms.BooleanField(
        label="Pumps isolated, and the fluid bled off to zero before reading",
        error_messages={
            "required": "With fluid in the bottle the gauge shows more than the precharge. Bleed it off, then read."
        },
    )
    pressure_unit = forms.ChoiceField(label="Pressures in", widget=forms.Select({"class": "short"}))
    temperature_unit = forms.ChoiceField(label="Temperatures in", widget=forms.Select({"class": "short"}))
    common_temperature = forms.CharField(
        label="Gas temperature of all",
        required=False,
        max_length=32,
        help_text="Taken for every bottle whose row gives none.",
        widget=forms.TextInput({"inputmode": "decimal", "class": "short", "autocomplete": "off"}),
    )
    remarks = forms.CharField(label="Remarks", required=False, max_length=4000, widget=forms.Textarea({"rows": 2}))

    def __init__(
        self,
        posted: Any = None,
        *,
        bottles: Sequence[Bottle],
        instruments: QuerySet[Instrument],
        zone: ZoneInfo,
        at: datetime,
        units: System = "us",
        **options: Any,
    ) -> None:
        super().__init__(posted, units=units, **options)
        self.bottles = bottles
        self.fields["taken_at"] = RigTimeField(
            zone, label="Read at", help_text=f"On the rig's clock, {zone.key}.", initial=at
        )
        self.fields["instrument"] = GaugeField(
            instruments,
            day=at.astimezone(zone).date(),
            label="Gauge",
            empty_label="Choose…",
            error_messages={"required": "Nothing is chosen. Choose the gauge that was read."},
        )
        for name, dimension in (("pressure_unit", Dimension.PRESSURE), ("temperature_unit", Dimension.TEMPERATURE)):
            self._offer(name, dimension, units)
        for bottle in bottles:
            for part, label in ((_PRESSURE, "pressure"), (_TEMPERATURE, "gas temperature")):
                self.fields[f"{part}-{bottle.pk}"] = _row_field(f"Position {bottle.position_number}, {label}")

    def _offer(self, name: str, dimension: Dimension, units: System) -> None:
        offered = QuantityFormField(dimension)
        offered.prefer(units)
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(unit, unit_label(unit)) for unit in offered.units if unit in ENTRY_UNITS[dimension]]

    def bottle_rows(self) -> Iterator[BottleRow]:
        """Return the inputs of each bottle, by position."""
        for bottle in self.bottles:
            yield BottleRow(bottle, (self[f"{_PRESSURE}-{bottle.pk}"], self[f"{_TEMPERATURE}-{bottle.pk}"]))

    def clean(self) -> dict[str, Any]:
        """Read every figure with the unit chosen for its column; what can't be read is told beside it."""
        found = super().clean() or self.cleaned_data
        common = self._measured("common_temperature", _TEMPERATURE)
        self.readings = []
        for bottle in self.bottles:
            pressure = self._measured(f"{_PRESSURE}-{bottle.pk}", _PRESSURE)
            own = self._measured(f"{_TEMPERATURE}-{bottle.pk}", _TEMPERATURE)
            if pressure is not None or own is not None:
                self.readings.append(Read(bottle, pressure, own or common, str(bottle.pk)))
        return found

    def _measured(self, name: str, part: str) -> Measured | None:
        unit = self.cleaned_data.get("pressure_unit" if part == _PRESSURE else "temperature_unit")
        text = self.cleaned_data.get(name)
        if not text or not unit:
            return None
        try:
            return QuantityFormField(_DIMENSIONS[part]).clean([text, unit])
        except ValidationError as error:
            self.add_error(name, error)
            return None

    @property
    def facts(self) -> dict[str, Any]:
        """Return what the action takes: what holds for the round, and its readings."""
        names = ("taken_at", "taken_by", "instrument", "fluid_bled_off", "remarks")
        return {**{name: self.cleaned_data[name] for name in names}, "readings": self.readings}


def _row_field(label: str) -> forms.CharField:
    widget = forms.TextInput({"inputmode": "decimal", "autocomplete": "off"})
    return forms.CharField(label=label, required=False, max_length=32, widget=widget)
