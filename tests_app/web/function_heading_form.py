"""The heading of a function test as a form: what is worked, from where, when and why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from django import forms
from django.db.models import QuerySet

from calcs.units import Dimension, System
from equipment.models import ControlItem, HoleSection, Instrument, Rig, Stack
from equipment.queries.controls import pods_among, stations_among
from equipment.web.fields import SMALL_LENGTHS, QuantityFormField
from tests_app.actions.function_tests import FunctionHeading, WorkedFrom
from tests_app.models import Record, TestReason
from tests_app.queries.due_items import DueItem
from tests_app.queries.function_subjects import FunctionSubject, named
from tests_app.web.bank_test_forms import as_text
from tests_app.web.heading_form import instrument_label
from tests_app.web.times import RigTimeField

PLAIN = ("reason", "started_at", "operator", "remarks")
QUANTITIES = ("pipe_in_hole", "manifold_pressure", "annular_pressure")


@dataclass(frozen=True)
class FunctionOffer:
    """What a function test of a stack can be filled in with.

    Attributes:
        stack: it is made on.
        subjects: what can be worked on it.
        due: how each stands on the due list, by its key.
        controls: stations, panels and pods of the stack in service.
        last_from: names of the station and pod last used on the stack, in words with the test; empty where none was.
    """

    rig: Rig
    stack: Stack
    subjects: Sequence[FunctionSubject]
    due: Mapping[str, DueItem]
    controls: Sequence[ControlItem]
    sections: QuerySet[HoleSection]
    instruments: Sequence[Instrument]
    units: System
    at: datetime
    last_from: Mapping[str, str]

    @property
    def stations(self) -> list[ControlItem]:
        """Return what functions can be worked from."""
        return stations_among(self.controls)

    @property
    def pods(self) -> list[ControlItem]:
        """Return the pods."""
        return pods_among(self.controls)

    def instrument_choices(self) -> list[tuple[int, str]]:
        """Return the instruments in use, each with how its calibration stands on the rig's today."""
        today = self.at.astimezone(self.rig.zone).date()
        return [(one.pk, instrument_label(one, today)) for one in self.instruments]


class ItemField(forms.TypedChoiceField):
    """One of the stack's stations or pods, or none."""

    def offer(self, items: Sequence[ControlItem]) -> None:
        """Offer these."""
        self.items = list(items)
        self.choices = [("", "Not stated"), *((item.pk, item.name) for item in items)]

    def chosen(self, value: str) -> ControlItem | None:
        """Return the item of a key."""
        return next((item for item in self.items if str(item.pk) == str(value)), None)


class FunctionHeadingForm(forms.Form):
    """What holds for the whole function test. What is worked is chosen once; later it is a line each."""

    section = forms.ModelChoiceField(
        HoleSection.objects.none(), label="Well and hole section", required=False, empty_label="None"
    )
    reason = forms.ChoiceField(label="Reason", choices=TestReason.choices)
    started_at = forms.DateTimeField(label="Began")
    operator = forms.CharField(label="Functions worked by", max_length=120, required=False)
    pipe_in_hole = QuantityFormField(
        Dimension.LENGTH,
        SMALL_LENGTHS,
        label="Pipe in the hole",
        required=False,
        positive=True,
        help_text="Outside diameter; empty for none.",
    )
    manifold_pressure = QuantityFormField(
        Dimension.PRESSURE,
        label="Manifold pressure",
        required=False,
        positive=True,
        help_text="Of the regulated fluid that works the rams.",
    )
    annular_pressure = QuantityFormField(
        Dimension.PRESSURE,
        label="Annular pressure",
        required=False,
        positive=True,
        help_text="Of the regulated fluid that works the annulars.",
    )
    station = ItemField(label="Worked from", required=False)
    pod = ItemField(label="Pod", required=False)
    subjects = forms.MultipleChoiceField(
        label="Worked in this test",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "This does not stand on the stack any more. Open the page again."},
    )
    instruments = forms.TypedMultipleChoiceField(
        label="Read from",
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Gauges and flow meters, where any were used.",
    )
    remarks = forms.CharField(label="Remarks", required=False, widget=forms.Textarea({"rows": 2}))
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        data: Any = None,
        *,
        offer: FunctionOffer,
        record: Record | None = None,
        initial: dict[str, Any] | None = None,
    ) -> None:
        super().__init__(data, initial=initial)
        self.offer = offer
        self.record = record
        cast(forms.ModelChoiceField[HoleSection], self.fields["section"]).queryset = offer.sections
        cast(forms.MultipleChoiceField, self.fields["instruments"]).choices = offer.instrument_choices()
        began = RigTimeField(offer.rig.zone, label="Began")
        began.help_text = f"On the rig's clock ({began.zone_note(offer.at)})."
        self.fields["started_at"] = began
        for field in self.fields.values():
            if isinstance(field, QuantityFormField):
                field.prefer(offer.units)
        self._fit_worked(offer, record)

    def _fit_worked(self, offer: FunctionOffer, record: Record | None) -> None:
        if record is not None:
            for name in ("station", "pod", "subjects"):
                del self.fields[name]
            return
        for name, items in (("station", offer.stations), ("pod", offer.pods)):
            cast(ItemField, self.fields[name]).offer(items)
            self.fields[name].help_text = offer.last_from.get(name, "")
        if not offer.pods:
            del self.fields["pod"]
        subjects = cast(forms.MultipleChoiceField, self.fields["subjects"])
        subjects.choices = [(one.key, one.name) for one in offer.subjects]

    def heading(self) -> FunctionHeading:
        """Return the heading as the action takes it."""
        given = self.cleaned_data
        quantities: dict[str, Any] = {name: as_text(given[name]) for name in QUANTITIES}
        return FunctionHeading(**{name: given[name] for name in PLAIN}, **quantities)

    def worked_from(self) -> WorkedFrom:
        """Return the station and pod chosen for the whole test."""
        found = {
            name: cast(ItemField, self.fields[name]).chosen(self.cleaned_data[name])
            for name in ("station", "pod")
            if name in self.fields
        }
        return WorkedFrom(**found)

    def chosen_subjects(self) -> list[FunctionSubject]:
        """Return what is worked."""
        return named(self.offer.subjects, self.cleaned_data["subjects"])

    def chosen_instruments(self) -> list[Instrument]:
        """Return the instruments ticked."""
        ticked = set(self.cleaned_data["instruments"])
        return [one for one in self.offer.instruments if one.pk in ticked]

    def ticked(self) -> set[str]:
        """Return the keys ticked on the page, as typed or proposed."""
        return {str(key) for key in self["subjects"].value() or ()}


def heading_as_it_stands(record: Record) -> dict[str, Any]:
    """Return the heading of a draft as the form takes it."""
    test = record.function_test
    return {
        **{name: getattr(test, name) for name in ("reason", "operator", *QUANTITIES)},
        "started_at": record.started_at,
        "remarks": record.remarks,
        "version": record.version,
        "section": record.section_id,
        "instruments": [use.instrument_id for use in record.instrument_uses.all()],
    }
