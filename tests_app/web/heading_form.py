"""The heading of a pressure test as a form, filled in from what the rig did last."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, cast

from django import forms
from django.db.models import QuerySet

from accounts.presentation import date_text
from calcs.units import Dimension
from equipment.models import HoleSection, Instrument, Rig, Stack, StackKind
from equipment.queries.instruments import expiry_on
from equipment.web.fields import QuantityFormField
from tests_app.actions.pressure_tests import Heading
from tests_app.models import Barrier, ControlStation, Pod, Record, TestFluid, TestReason
from tests_app.queries.finished_sections import is_finished
from tests_app.web.times import RigTimeField

_EMPTY: Final = [("", "Not stated")]


@dataclass(frozen=True)
class Offer:
    """What the heading can be filled in with: the rig's own stacks, sections and instruments, and its last test."""

    rig: Rig
    stacks: QuerySet[Stack]
    sections: QuerySet[HoleSection]
    instruments: Sequence[Instrument]
    last: Record | None
    at: datetime
    drilled: HoleSection | None = None

    @property
    def has_subsea(self) -> bool:
        """Tell whether a pod can be asked for."""
        return any(stack.kind == StackKind.SUBSEA for stack in self.stacks)

    def instrument_choices(self) -> list[tuple[int, str]]:
        """Return the instruments in use, each with how its calibration stands on the rig's today."""
        today = self.at.astimezone(self.rig.zone).date()
        return [(one.pk, instrument_label(one, today)) for one in self.instruments]


def instrument_label(instrument: Instrument, today: Any) -> str:
    """Return an instrument with how its calibration stands on a day."""
    due = instrument.calibration_due_on
    stands = expiry_on(today, due=due, missing="no calibration on file")
    until = f"calibrated until {date_text(due)}, " if due else ""
    top = instrument.range_high
    return f"{instrument}, to {top.text} {top.unit}: {until}{stands.words.lower()}"


class SectionField(forms.ModelChoiceField[HoleSection]):
    """A hole section, which says whether it is the one being drilled or one drilled before."""

    drilled: HoleSection | None = None

    def label_from_instance(self, section: HoleSection) -> str:
        """Return its name with how it stands to the section being drilled."""
        if self.drilled is not None and section.pk == self.drilled.pk:
            return f"{section} (being drilled)"
        return f"{section} (finished)" if is_finished(section, self.drilled) else str(section)


class HeadingForm(forms.Form):
    """Heading of a test. The stack is fixed once steps hang on it, so it is asked only for a new test."""

    stack = forms.ModelChoiceField(Stack.objects.none(), label="Stack", empty_label=None)
    section = SectionField(
        HoleSection.objects.none(),
        label="Well and hole section",
        required=False,
        empty_label="None: on the test stump",
        help_text="Wellhead, casing and MASP of the section limit what may be tested.",
    )
    reason = forms.ChoiceField(label="Reason", choices=TestReason.choices)
    started_at = forms.DateTimeField(label="Began")
    fluid = forms.ChoiceField(label="Test fluid", choices=TestFluid.choices)
    barrier = forms.ChoiceField(label="Plug or cup", choices=Barrier.choices)
    pipe_in_hole = QuantityFormField(
        Dimension.LENGTH,
        ("in", "mm"),
        label="Pipe in the hole",
        required=False,
        help_text="Outside diameter; empty for none.",
    )
    control_station = forms.ChoiceField(
        label="Control station", choices=[*_EMPTY, *ControlStation.choices], required=False
    )
    pod = forms.ChoiceField(label="Pod", choices=[*_EMPTY, *Pod.choices], required=False)
    pump_operator = forms.CharField(label="Pump operator", max_length=120, required=False)
    plan_reference = forms.CharField(
        label="Test plan", max_length=120, required=False, help_text="Its number, if one kept on site is followed."
    )
    instruments = forms.TypedMultipleChoiceField(
        label="Read from",
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="The gauges and recorders the test is proved with.",
    )
    remarks = forms.CharField(label="Remarks", required=False, widget=forms.Textarea({"rows": 2}))
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, offer: Offer, record: Record | None = None) -> None:
        super().__init__(data, initial=_initial(offer, record))
        self.offer = offer
        self.record = record
        self._fit(offer, record)

    def _fit(self, offer: Offer, record: Record | None) -> None:
        cast(forms.ModelChoiceField[Stack], self.fields["stack"]).queryset = offer.stacks
        sections = cast(SectionField, self.fields["section"])
        sections.drilled, sections.queryset = offer.drilled, offer.sections
        cast(forms.MultipleChoiceField, self.fields["instruments"]).choices = offer.instrument_choices()
        began = RigTimeField(offer.rig.zone, label="Began")
        began.help_text = f"On the rig's clock ({began.zone_note(offer.at)})."
        self.fields["started_at"] = began
        if not offer.has_subsea:
            del self.fields["pod"]
        if record is not None:
            del self.fields["stack"]
        self.mark_repeats()

    def clean_pod(self) -> str:
        """Let a surface stack have no pod."""
        stack = self.cleaned_data.get("stack") or (self.record.stack if self.record else None)
        pod: str = self.cleaned_data["pod"]
        if pod and stack is not None and stack.kind != StackKind.SUBSEA:
            raise forms.ValidationError("Only a subsea stack has pods: leave it as not stated.")
        return pod

    def heading(self) -> Heading:
        """Return the heading as the action takes it."""
        given = self.cleaned_data
        return Heading(
            started_at=given["started_at"],
            reason=given["reason"],
            fluid=given["fluid"],
            barrier=given["barrier"],
            pipe_in_hole=_as_text(given["pipe_in_hole"]),
            control_station=given["control_station"],
            pod=given.get("pod", ""),
            pump_operator=given["pump_operator"],
            plan_reference=given["plan_reference"],
            remarks=given["remarks"],
        )

    def chosen_instruments(self) -> list[Instrument]:
        """Return the instruments ticked."""
        ticked = set(self.cleaned_data["instruments"])
        return [one for one in self.offer.instruments if one.pk in ticked]

    def mark_repeats(self) -> None:
        """Note on station and pod what the last test used, so that the page points a repeat out."""
        last = self.offer.last
        if last is None or (self.record is not None and last.pk == self.record.pk):
            return
        for name in ("control_station", "pod"):
            used = getattr(last.pressure_test, name)
            if name in self.fields and used:
                self.fields[name].widget.attrs["data-repeat-of"] = used
                labels = dict(cast(Any, self.fields[name]).choices)
                self.fields[name].help_text = f"{labels[used]} in test {last.number}."


def _as_text(given: Any) -> str:
    return f"{given.text} {given.unit}" if given else ""


def _initial(offer: Offer, record: Record | None) -> dict[str, Any]:
    if record is not None:
        return {**_of(record), "version": record.version, "started_at": record.started_at}
    found: dict[str, Any] = {"started_at": offer.at.astimezone(offer.rig.zone).replace(second=0, microsecond=0)}
    found["reason"] = TestReason.INTERVAL
    section = offer.sections.order_by("-begins_at", "-order").first()
    found["section"] = section.pk if section else None
    if offer.last is not None:
        found.update(_carried_over(offer.last))
    if offer.drilled is not None:
        found["section"] = offer.drilled.pk
    in_use = [one.pk for one in offer.instruments]
    found["instruments"] = [pk for pk in found.get("instruments", in_use if len(in_use) == 1 else []) if pk in in_use]
    return found


def _of(record: Record) -> dict[str, Any]:
    test = record.pressure_test
    names = ("reason", "fluid", "barrier", "pipe_in_hole", "control_station", "pod", "pump_operator", "plan_reference")
    used = [use.instrument_id for use in record.instrument_uses.all()]
    return {
        **{name: getattr(test, name) for name in names},
        "section": record.section_id,
        "instruments": used,
        "remarks": record.remarks,
    }


def _carried_over(last: Record) -> dict[str, Any]:
    """Return what usually stays from one test to the next; station and pod are the other ones."""
    kept = _of(last)
    for name in ("remarks", "plan_reference", "reason"):
        del kept[name]
    if last.section_id is None:
        del kept["section"]
    return {
        **kept,
        "stack": last.stack_id,
        "control_station": _OTHER.get(last.pressure_test.control_station, ""),
        "pod": _OTHER.get(last.pressure_test.pod, ""),
    }


_OTHER: Final[Mapping[str, str]] = {
    ControlStation.DRILL_FLOOR: ControlStation.REMOTE,
    ControlStation.REMOTE: ControlStation.DRILL_FLOOR,
    ControlStation.CLOSING_UNIT: ControlStation.DRILL_FLOOR,
    Pod.BLUE: Pod.YELLOW,
    Pod.YELLOW: Pod.BLUE,
}
"""Stations and pods are used in turn (30 CFR 250.737(d), from memory)."""
