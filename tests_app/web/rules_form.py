"""Choosing the rules of a rig as a form."""

from datetime import date, datetime, time
from typing import Any, cast

from django import forms

from calcs.recurrence import localise
from equipment.models import Rig
from tests_app import rulebook
from tests_app.models import Programme


class RulesForm(forms.Form):
    """Which edition, since which day, and why."""

    edition = forms.ChoiceField(
        label="Rules", error_messages={"required": "Choose the rules.", "invalid_choice": "Choose one of these rules."}
    )
    since = forms.DateField(
        label="Since",
        widget=forms.DateInput({"type": "date", "class": "medium"}, format="%Y-%m-%d"),
        help_text="The day they began to apply, on the rig's calendar; not a day to come.",
    )
    reason = forms.CharField(
        label="Reason",
        required=False,
        max_length=500,
        widget=forms.Textarea({"rows": 2}),
        help_text="Such as the permit, the contract or the regulator's letter. It stays in the trail.",
    )

    def __init__(self, data: Any = None, *, rig: Rig, programme: Programme | None, at: datetime) -> None:
        super().__init__(data, initial={"since": at.astimezone(rig.zone).date()})
        self.rig, self.at = rig, at
        followed = programme.edition if programme else ""
        offered = [
            (one.id, f"{one.title}, {one.edition}")
            for one in rulebook.editions()
            if one.id != followed and one.asks_pressure_tests
        ]
        cast(forms.ChoiceField, self.fields["edition"]).choices = [("", "Choose"), *offered]
        self.fields["reason"].required = programme is not None
        self.fields["reason"].error_messages["required"] = "Say why the rules change, in a few words."

    @property
    def since_moment(self) -> datetime:
        """Return the moment the rules began to apply: the day's first on the rig's clock."""
        day: date = self.cleaned_data["since"]
        return localise(datetime.combine(day, time()), self.rig.zone)
