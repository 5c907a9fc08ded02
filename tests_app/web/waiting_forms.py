"""Letting something wait, as forms: deferrals, and tests that are not safe to make now."""

from datetime import datetime
from typing import Any

from django import forms

from calcs.schedule_rule_words import REASON_WORDS
from calcs.schedule_rules import PostponementRule
from equipment.models import Rig
from tests_app.web.times import RigTimeField

_MISSING = "This is missing. Fill it in."
_NO_TIME = "The time is missing. Give it as the rig's clock showed it."


def _moment(rig: Rig, at: datetime, label: str, help_text: str = "") -> RigTimeField:
    field = RigTimeField(rig.zone, label=label)
    field.help_text = f"{help_text} On the rig's clock, {field.zone_note(at)}.".strip()
    field.error_messages["required"] = _NO_TIME
    return field


class DeferralForm(forms.Form):
    """A deferral: until when, who approved it, why and on what conditions."""

    until = forms.DateTimeField()
    granted_at = forms.DateTimeField()
    approved_by = forms.CharField(
        label="Approved by",
        max_length=120,
        help_text="Name and office of who may approve it: not whoever asks for it.",
        error_messages={"required": _MISSING},
    )
    reference = forms.CharField(
        label="Reference of the approval",
        max_length=120,
        help_text="Number of the letter, permit or dispensation.",
        error_messages={"required": _MISSING},
    )
    reason = forms.CharField(
        label="Reason", max_length=2000, widget=forms.Textarea({"rows": 3}), error_messages={"required": _MISSING}
    )
    conditions = forms.CharField(
        label="Conditions",
        required=False,
        max_length=2000,
        widget=forms.Textarea({"rows": 2}),
        help_text="What holds until then, such as what must not be relied on.",
    )

    def __init__(self, data: Any = None, *, rig: Rig, at: datetime) -> None:
        super().__init__(data)
        self.fields["until"] = _moment(rig, at, "Deferred until", "It ends by itself then.")
        self.fields["granted_at"] = _moment(rig, at, "Granted")


class PostponementForm(forms.Form):
    """Why a test is not safe to make now."""

    reason = forms.ChoiceField(label="Reason", error_messages={"required": "Nothing is chosen. Choose one."})
    made_at = forms.DateTimeField()
    explanation = forms.CharField(
        label="What happened",
        max_length=2000,
        widget=forms.Textarea({"rows": 3}),
        help_text="As in the daily report: what stands across the stack, since when, at what depth.",
        error_messages={"required": _MISSING},
    )

    def __init__(self, data: Any = None, *, rig: Rig, at: datetime, rule: PostponementRule | None) -> None:
        super().__init__(data, initial={"made_at": at})
        offered = [(one.value, _sentence(REASON_WORDS[one])) for one in rule.reasons] if rule else []
        self.fields["reason"].choices = [("", "Choose"), *offered]  # type: ignore[attr-defined]
        self.fields["made_at"] = _moment(rig, at, "Found not safe")


class CallForm(forms.Form):
    """When what calls for a postponed test came about."""

    called_at = forms.DateTimeField()

    def __init__(self, data: Any = None, *, rig: Rig, at: datetime) -> None:
        super().__init__(data, prefix="call", initial={"called_at": at})
        self.fields["called_at"] = _moment(rig, at, "It began")


class EndForm(forms.Form):
    """When and why a test waits no longer."""

    ended_at = forms.DateTimeField()
    reason = forms.CharField(
        label="Why it waits no longer",
        max_length=300,
        help_text="Such as: pipe freed, test made; or entered in error.",
        error_messages={"required": _MISSING},
    )

    def __init__(self, data: Any = None, *, rig: Rig, at: datetime) -> None:
        super().__init__(data, prefix="end", initial={"ended_at": at})
        self.fields["ended_at"] = _moment(rig, at, "Ended")


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"
