"""Timed chargings and the settings of pumps as forms."""

from typing import Any

from django import forms

from calcs.units import Dimension, System
from equipment.web.fields import QuantityFormField
from tests_app.actions.pump_tests import PumpFacts
from tests_app.actions.recharges import RechargeFacts
from tests_app.models import PumpDrive, PumpDuty, PumpReading, PumpsRunning, Recharge
from tests_app.web.bank_test_forms import as_text
from tests_app.web.times import SpanField


class _RowForm(forms.Form):
    def __init__(self, data: Any = None, *, units: System, **options: Any) -> None:
        super().__init__(data, **options)
        for field in self.fields.values():
            if isinstance(field, QuantityFormField):
                field.prefer(units)


class RechargeForm(_RowForm):
    """One charging by the watch."""

    pumps = forms.ChoiceField(label="Charged by", choices=PumpsRunning.choices)
    pump_out = forms.CharField(
        label="Set out", max_length=80, required=False, help_text="Which pump or power, where one was set out."
    )
    from_pressure = QuantityFormField(Dimension.PRESSURE, label="From", help_text="When the pumps were started.")
    to_pressure = QuantityFormField(Dimension.PRESSURE, label="To", help_text="When the clock was stopped.")
    seconds = SpanField(
        label="It took",
        help_text="Minutes and seconds, such as 11:40, or seconds.",
        error_messages={"required": "Give the watch's time, such as 11:40."},
    )
    remarks = forms.CharField(label="Remarks", max_length=300, required=False)

    def facts(self) -> RechargeFacts:
        """Return the charging as the action takes it."""
        given = self.cleaned_data
        return RechargeFacts(
            pumps=given["pumps"],
            pump_out=given["pump_out"].strip(),
            from_pressure=as_text(given["from_pressure"]),
            to_pressure=as_text(given["to_pressure"]),
            seconds=given["seconds"],
            remarks=given["remarks"],
        )

    @classmethod
    def about(cls, recharge: Recharge | None, data: Any = None, *, units: System) -> "RechargeForm":
        """Return the form of a charging as it stands, or of a new one."""
        names = ("pumps", "pump_out", "from_pressure", "to_pressure", "seconds", "remarks")
        initial = {name: getattr(recharge, name) for name in names} if recharge else {}
        return cls(data, units=units, prefix=f"recharge-{recharge.pk if recharge else 0}", initial=initial)


class PumpForm(_RowForm):
    """Where one pump started and stopped by itself."""

    pump = forms.CharField(label="Pump", max_length=80, help_text="Such as Electric triplex 1.")
    duty = forms.ChoiceField(label="Duty", choices=PumpDuty.choices)
    drive = forms.ChoiceField(label="Driven by", choices=PumpDrive.choices)
    starts_at = QuantityFormField(
        Dimension.PRESSURE, label="Starts at", required=False, help_text="By itself, the pressure falling."
    )
    stops_at = QuantityFormField(
        Dimension.PRESSURE, label="Stops at", required=False, help_text="By itself, the pressure rising."
    )
    air_supply = QuantityFormField(
        Dimension.PRESSURE, label="Air supply", required=False, help_text="Of an air pump, while it ran."
    )
    remarks = forms.CharField(
        label="Remarks", max_length=300, required=False, help_text="Why a figure was not read, where that is so."
    )

    def facts(self) -> PumpFacts:
        """Return the pump as the action takes it."""
        given = self.cleaned_data
        texts = {name: as_text(given[name]) for name in ("starts_at", "stops_at", "air_supply")}
        return PumpFacts(**{name: given[name] for name in ("pump", "duty", "drive", "remarks")}, **texts)

    @classmethod
    def about(cls, pump: PumpReading | None, data: Any = None, *, units: System) -> "PumpForm":
        """Return the form of a pump as it stands, or of a new one."""
        names = ("pump", "duty", "drive", "starts_at", "stops_at", "air_supply", "remarks")
        initial = {name: getattr(pump, name) for name in names} if pump else {}
        return cls(data, units=units, prefix=f"pump-{pump.pk if pump else 0}", initial=initial)
