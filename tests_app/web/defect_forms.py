"""Defects as forms: opening one, acting on it, reporting it, judging it anew, closing it as approved."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, Final

from django import forms

from calcs.units import Dimension, System
from equipment.models import Component, ControlItem, Rig
from equipment.web.fields import QuantityFormField
from equipment.web.forms.base_form import Groups, HouseForm
from tests_app.actions.defect_steps import Approval, Work
from tests_app.actions.defects import Seen, ToShow
from tests_app.models import (
    BarrierAffected,
    Defect,
    Disposition,
    FunctionLine,
    Line,
    PressureFrom,
    Severity,
    ShownBy,
)
from tests_app.queries.retests import Retest
from tests_app.web.times import RigTimeField

_CHOOSE: Final = ("", "Choose")
_MISSING: Final = {"required": "This is missing. Fill it in."}
_NOT_CHOSEN: Final = {"required": "Nothing is chosen. Choose one."}
_NO_TIME: Final = "The time is missing. Give it as the rig's clock showed it."


def _moment(rig: Rig, at: datetime, label: str, help_text: str = "") -> RigTimeField:
    field = RigTimeField(rig.zone, label=label)
    field.help_text = f"{help_text} On the rig's clock, {field.zone_note(at)}.".strip()
    field.error_messages["required"] = _NO_TIME
    return field


def _words(label: str, help_text: str = "", *, required: bool = True, rows: int = 3) -> forms.CharField:
    widget = forms.Textarea({"rows": rows})
    return forms.CharField(
        label=label, help_text=help_text, required=required, max_length=4000, widget=widget, error_messages=_MISSING
    )


def _name(label: str, help_text: str = "") -> forms.CharField:
    return forms.CharField(label=label, max_length=120, help_text=help_text, error_messages=_MISSING)


def _severity() -> forms.ChoiceField:
    return forms.ChoiceField(
        label="Severity",
        choices=[_CHOOSE, *Severity.choices],
        help_text="Stops operations: what needs the barrier waits until it is proven. Limits: work goes on under "
        "conditions.",
        error_messages=_NOT_CHOSEN,
    )


def _barrier() -> forms.ChoiceField:
    return forms.ChoiceField(
        label="Barrier affected", choices=[_CHOOSE, *BarrierAffected.choices], error_messages=_NOT_CHOSEN
    )


class SeenForm(HouseForm):
    """What was seen of a defect, and how it is judged."""

    GROUPS: Groups = (
        ("What was found", "", ("found_at", "found_by", "description")),
        ("How it is judged", "It may be judged anew later, with a reason.", ("severity", "barrier")),
    )

    def __init__(self, posted: Any = None, *, rig: Rig, at: datetime, **options: Any) -> None:
        super().__init__(posted, **options)
        self.fields["found_at"] = _moment(rig, at, "Found", "Deadlines of reports count from it.")
        self.fields["found_by"] = _name("Found by")
        self.fields["description"] = _words("What was seen", "Where, how much, at what pressure.")
        self.fields["severity"] = _severity()
        self.fields["barrier"] = _barrier()

    @property
    def what_was_seen(self) -> Seen:
        """What was seen, as the action takes it."""
        given = self.cleaned_data
        return Seen(**{name: given[name] for name in ("found_at", "found_by", "description", "severity", "barrier")})


Subjects = dict[str, tuple[str, Component | ControlItem]]
"""What a defect may be of, by its key in the form, with the words for it."""


class ByHandForm(SeenForm):
    """A defect somebody saw: of what, and what has to be shown before it counts as cured."""

    GROUPS: Groups = (
        ("What failed", "", ("subject",)),
        *SeenForm.GROUPS,
        (
            "What shows it cured",
            "Nothing else closes it but an approved disposition.",
            ("shown_by", "pressure_from", "pressure", "low_asked"),
        ),
    )

    def __init__(
        self, posted: Any = None, *, groups: Mapping[str, Subjects], units: System = "us", **options: Any
    ) -> None:
        super().__init__(posted, units=units, **options)
        self.subjects = {key: row for rows in groups.values() for key, (_, row) in rows.items()}
        offered = [
            (group, [(key, words) for key, (words, _) in rows.items()]) for group, rows in groups.items() if rows
        ]
        self.fields["subject"] = forms.ChoiceField(
            label="Component or control item",
            choices=[_CHOOSE, *offered],
            help_text="Where it stood is taken from its installation at the time found.",
            error_messages=_NOT_CHOSEN,
        )
        self.fields["shown_by"] = forms.ChoiceField(
            label="Shown by", choices=[_CHOOSE, *ShownBy.choices], error_messages=_NOT_CHOSEN
        )
        self.fields["pressure_from"] = forms.ChoiceField(
            label="Pressure from",
            required=False,
            choices=[_CHOOSE, *PressureFrom.choices],
            help_text="Of pressure tests.",
        )
        pressure = QuantityFormField(Dimension.PRESSURE, label="At no less than", required=False, positive=True)
        pressure.prefer(units)
        self.fields["pressure"] = pressure
        self.fields["low_asked"] = forms.BooleanField(
            label="A low test has to pass with it", required=False, initial=True
        )

    @property
    def subject(self) -> Component | ControlItem:
        """What failed."""
        return self.subjects[self.cleaned_data["subject"]]

    @property
    def to_show(self) -> ToShow:
        """What has to be shown, as the action takes it."""
        given = self.cleaned_data
        return ToShow(given["shown_by"], given["pressure_from"], given["pressure"], given["low_asked"])


class WorkForm(HouseForm):
    """What was done about a defect."""

    def __init__(self, posted: Any = None, *, defect: Defect, at: datetime, **options: Any) -> None:
        super().__init__(posted, prefix="work", **options)
        self.fields["done_at"] = _moment(defect.rig, at, "Done")
        self.fields["done"] = _words("What was done")
        self.fields["parts_fitted"] = _words(
            "Parts fitted", "One a line, with serial or batch number.", required=False, rows=2
        )
        self.fields["done_by"] = _name("Done by", "Name and company.")
        self.fields["puts_right"] = forms.BooleanField(
            label="This puts it right, as far as is known", required=False, help_text="Only a retest shows it."
        )
        if defect.component_id is not None:
            self.fields["is_repair"] = forms.BooleanField(
                label="It is a repair: tests made before count no more",
                required=False,
                help_text="It is entered on the component as a repair, and its tests fall due.",
            )

    @property
    def work(self) -> Work:
        """What was done, as the action takes it."""
        return Work(**self.facts)


class ReportForm(HouseForm):
    """When a report was sent, or an analysis begun."""

    def __init__(self, posted: Any = None, *, offered: list[tuple[str, str]], defect: Defect, at: datetime) -> None:
        super().__init__(posted, prefix="report")
        self.fields["rule_id"] = forms.ChoiceField(
            label="What was done", choices=[_CHOOSE, *offered], error_messages=_NOT_CHOSEN
        )
        self.fields["done_at"] = _moment(defect.rig, at, "Sent, or begun")
        self.fields["reference"] = _name("Reference", "Number or date of the letter.")


class RetestForm(HouseForm):
    """Which line of a later test shows it cured."""

    def __init__(self, posted: Any = None, *, retests: Iterable[Retest]) -> None:
        super().__init__(posted, prefix="retest")
        self.lines = {one.key: one.line for one in retests}
        self.fields["line"] = forms.ChoiceField(
            label="Test",
            choices=[(key, key) for key in self.lines],
            error_messages={
                "required": "No test is chosen. Choose one that shows it cured.",
                "invalid_choice": "This is no later test of what failed. Choose one that is listed.",
            },
        )

    @property
    def line(self) -> Line | FunctionLine:
        """The line chosen."""
        return self.lines[self.cleaned_data["line"]]


class JudgeForm(HouseForm):
    """Severity and barrier, judged anew."""

    def __init__(self, posted: Any = None, *, defect: Defect) -> None:
        initial = {"severity": defect.severity, "barrier": defect.barrier}
        super().__init__(posted, prefix="judge", initial=initial)
        self.fields["severity"] = _severity()
        self.fields["barrier"] = _barrier()
        self.fields["reason"] = forms.CharField(
            label="Reason", max_length=300, help_text="What is known now.", error_messages=_MISSING
        )


class DispositionForm(HouseForm):
    """Who approved that a defect is closed without a retest, and why."""

    def __init__(self, posted: Any = None) -> None:
        super().__init__(posted, prefix="dispose")
        self.fields["disposition"] = forms.ChoiceField(
            label="Disposition", choices=[_CHOOSE, *Disposition.choices], error_messages=_NOT_CHOSEN
        )
        self.fields["approved_by"] = _name("Approved by", "Name and office of who may approve it.")
        self.fields["reference"] = _name("Reference of the approval", "Number of the letter or of the change approved.")
        self.fields["reason"] = _words("Reason", "Why no test is needed, and what holds from now on.")

    @property
    def approval(self) -> Approval:
        """The approval, as the action takes it."""
        return Approval(**self.facts)
