"""The headings of drawdown and pump tests as forms: which bank, when, why, and what it was read from."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, cast

from django import forms
from django.db.models import QuerySet

from accounts.presentation import date_text
from calcs.units import ENTRY_UNITS, Dimension, System
from equipment.models import Bank, HoleSection, Instrument, PrechargeCheck, Rig, StackKind
from equipment.web.fields import QuantityFormField
from tests_app.actions.drawdowns import DrawdownHeading
from tests_app.actions.pump_tests import PumpHeading
from tests_app.models import ControlStation, GasState, Pod, Record, TestReason
from tests_app.web.heading_form import instrument_label
from tests_app.web.times import RigTimeField

_EMPTY: Final = [("", "Not stated")]
SHARED: Final = ("reason", "started_at", "operator", "remarks")


@dataclass(frozen=True)
class BankOffer:
    """What the heading of a bank's test can be filled in with: the rig's own banks, rounds, sections, instruments."""

    rig: Rig
    banks: QuerySet[Bank]
    rounds: Sequence[PrechargeCheck]
    sections: QuerySet[HoleSection]
    instruments: Sequence[Instrument]
    units: System
    at: datetime
    is_subsea: bool

    def instrument_choices(self) -> list[tuple[int, str]]:
        """Return the instruments in use, each with how its calibration stands on the rig's today."""
        today = self.at.astimezone(self.rig.zone).date()
        return [(one.pk, instrument_label(one, today)) for one in self.instruments]

    def round_choices(self) -> list[tuple[Any, Any]]:
        """Return the rounds of precharge readings, the latest first; by bank where there are several."""
        by_bank: dict[str, list[tuple[int, str]]] = {}
        for one in self.rounds:
            by_bank.setdefault(str(one.bank), []).append((one.pk, self._round_label(one)))
        none = ("", "None yet: read every bottle first")
        if len(by_bank) == 1:
            return [none, *next(iter(by_bank.values()))]
        return [none, *by_bank.items()]

    def _round_label(self, one: PrechargeCheck) -> str:
        local = one.taken_at.astimezone(self.rig.zone)
        return f"{date_text(local)}, {local:%H:%M}, read by {one.taken_by}"


class BankHeadingForm(forms.Form):
    """What the headings of both tests of a bank share. The bank is fixed once the test is open."""

    bank = forms.ModelChoiceField(
        Bank.objects.none(),
        label="Bank",
        empty_label="Choose",
        error_messages={"required": "Choose the bank that is tested."},
    )
    reason = forms.ChoiceField(label="Reason", choices=TestReason.choices)
    started_at = forms.DateTimeField(label="Began")
    operator = forms.CharField(label="Operator", max_length=120, required=False, help_text="Who worked the unit.")
    instruments = forms.TypedMultipleChoiceField(
        label="Read from",
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="The gauges and recorders the pressures were read from.",
    )
    remarks = forms.CharField(label="Remarks", required=False, widget=forms.Textarea({"rows": 2}))
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(
        self, data: Any = None, *, offer: BankOffer, record: Record | None = None, initial: dict[str, Any] | None = None
    ) -> None:
        super().__init__(data, initial=initial)
        self.offer = offer
        self.record = record
        self._fit(offer, record)

    def _fit(self, offer: BankOffer, record: Record | None) -> None:
        cast(forms.ModelChoiceField[Bank], self.fields["bank"]).queryset = offer.banks
        cast(forms.MultipleChoiceField, self.fields["instruments"]).choices = offer.instrument_choices()
        began = RigTimeField(offer.rig.zone, label="Began")
        began.help_text = f"On the rig's clock ({began.zone_note(offer.at)})."
        self.fields["started_at"] = began
        for field in self.fields.values():
            if isinstance(field, QuantityFormField):
                field.prefer(offer.units)
        if record is not None:
            del self.fields["bank"]

    def chosen_instruments(self) -> list[Instrument]:
        """Return the instruments ticked."""
        ticked = set(self.cleaned_data["instruments"])
        return [one for one in self.offer.instruments if one.pk in ticked]


class DrawdownHeadingForm(BankHeadingForm):
    """What holds for a whole drawdown: the pumps out, the gas settled, the start."""

    section = forms.ModelChoiceField(
        HoleSection.objects.none(),
        label="Well and hole section",
        required=False,
        empty_label="None: on the test stump",
    )
    precharge_check = forms.ChoiceField(
        label="Precharge beforehand",
        required=False,
        help_text="The round in which every bottle was read, pumps isolated and fluid bled off.",
    )
    gas_temperature = QuantityFormField(
        Dimension.TEMPERATURE,
        ENTRY_UNITS[Dimension.TEMPERATURE],
        label="Gas temperature",
        required=False,
        help_text="Of the charged gas, settled: that of the air or sea around the bottles.",
    )
    start_pressure = QuantityFormField(
        Dimension.PRESSURE, label="Start pressure", required=False, help_text="Of the charged bank, on the gauge."
    )
    start_settled = forms.BooleanField(label="The start pressure had stood steady for minutes", required=False)
    electric_pumps_isolated = forms.BooleanField(label="Electric pumps isolated", required=False)
    air_pumps_isolated = forms.BooleanField(label="Air pumps isolated", required=False)
    isolation_confirmed_by = forms.CharField(label="Seen isolated by", max_length=120, required=False)
    control_station = forms.ChoiceField(
        label="Control station", choices=[*_EMPTY, *ControlStation.choices], required=False
    )
    pod = forms.ChoiceField(label="Pod", choices=[*_EMPTY, *Pod.choices], required=False)
    pipe_in_hole = QuantityFormField(
        Dimension.LENGTH,
        ("in", "mm"),
        label="Pipe in the hole",
        required=False,
        help_text="Outside diameter; empty for none.",
    )
    wait_seconds = forms.IntegerField(
        label="Wait before the second reading, s",
        required=False,
        min_value=1,
        widget=forms.TextInput({"inputmode": "numeric", "class": "short", "autocomplete": "off"}),
        help_text="Empty where the pressure is read once. Gas warms for minutes: 300 s or more shows it settled.",
    )
    judged_state = forms.ChoiceField(
        label="Which reading is judged", choices=GasState.choices, initial=GasState.AT_ONCE, widget=forms.RadioSelect
    )

    def _fit(self, offer: BankOffer, record: Record | None) -> None:
        super()._fit(offer, record)
        cast(forms.ModelChoiceField[HoleSection], self.fields["section"]).queryset = offer.sections
        cast(forms.ChoiceField, self.fields["precharge_check"]).choices = offer.round_choices()
        if not offer.is_subsea:
            del self.fields["pod"]

    def heading(self) -> DrawdownHeading:
        """Return the heading as the action takes it."""
        given = self.cleaned_data
        plain = (*SHARED, "start_settled", "electric_pumps_isolated", "air_pumps_isolated", "isolation_confirmed_by")
        texts: dict[str, Any] = {
            name: as_text(given[name]) for name in ("pipe_in_hole", "gas_temperature", "start_pressure")
        }
        return DrawdownHeading(
            **texts,
            **{name: given[name] for name in (*plain, "control_station", "wait_seconds", "judged_state")},
            pod=given.get("pod", ""),
        )

    def chosen_round(self) -> PrechargeCheck | None:
        """Return the round of precharge readings chosen."""
        chosen = self.cleaned_data["precharge_check"]
        return next((one for one in self.offer.rounds if str(one.pk) == chosen), None)


class PumpHeadingForm(BankHeadingForm):
    """What holds for a whole pump test."""

    def heading(self) -> PumpHeading:
        """Return the heading as the action takes it."""
        return PumpHeading(**{name: self.cleaned_data[name] for name in SHARED})


def drawdown_as_it_stands(record: Record) -> dict[str, Any]:
    """Return the heading of a draft as the form takes it."""
    test = record.drawdown_test
    own = [name for name in DrawdownHeading.__dataclass_fields__ if name not in ("started_at", "remarks")]
    return {
        **_envelope(record),
        **{name: getattr(test, name) for name in own},
        "section": record.section_id,
        "precharge_check": test.precharge_check_id,
    }


def pump_as_it_stands(record: Record) -> dict[str, Any]:
    """Return the heading of a draft as the form takes it."""
    return {**_envelope(record), "reason": record.pump_test.reason, "operator": record.pump_test.operator}


def _envelope(record: Record) -> dict[str, Any]:
    return {
        "started_at": record.started_at,
        "remarks": record.remarks,
        "version": record.version,
        "instruments": [use.instrument_id for use in record.instrument_uses.all()],
    }


def as_text(given: Any) -> str:
    """Return a quantity as the actions take it; empty for none."""
    return f"{given.text} {given.unit}" if given else ""


def has_subsea(banks: Sequence[Bank], rig: Rig) -> bool:
    """Tell whether a pod can be asked for."""
    return rig.stacks.filter(kind=StackKind.SUBSEA).exists() and bool(banks)
