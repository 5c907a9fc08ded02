"""How a rig wants to be told, as a form."""

import re
from collections.abc import Iterable
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError

from accounts.models import User
from equipment.models import CrewRole
from equipment.web.forms.base_form import Groups, HouseForm
from tests_app.models import AlertSettings

_STAGE: Final = re.compile(r"^(\d{1,4})\s*(h|hours?|d|days?|w|weeks?)$")
_HOURS: Final = {"h": 1, "d": 24, "w": 168}
_DAY: Final = 24
_FEW_DAYS: Final = 2


class StagesField(forms.CharField):
    """Moments before the due date, such as ``3 d, 24 h``; cleaned to hours."""

    default_error_messages = {"invalid": "“%(part)s” is no stage. Write them as 3 d, 24 h, with commas between."}

    def prepare_value(self, value: Any) -> Any:
        """Return the hours as they are typed; what was typed comes back as it was."""
        return stages_text(value) if isinstance(value, list) else value

    def clean(self, value: Any) -> list[int]:
        """Return the hours; raises ValidationError naming the part that can't be read."""
        text = super().clean(value).lower()
        return [self._hours(part.strip()) for part in re.split(r"[,;]", text) if part.strip()]

    def _hours(self, part: str) -> int:
        found = _STAGE.match(part)
        if found is None:
            raise ValidationError(self.error_messages["invalid"], code="invalid", params={"part": part})
        return int(found[1]) * _HOURS[found[2][0]]


def stages_text(hours: Iterable[int]) -> str:
    """Return hours before the due date as they are typed: ``3 d, 24 h``."""
    return ", ".join(_stage_text(one) for one in hours)


def _stage_text(hours: int) -> str:
    days, rest = divmod(hours, _DAY)
    return f"{days} d" if not rest and days >= _FEW_DAYS else f"{hours} h"


class _PeopleField(forms.ModelMultipleChoiceField):
    def label_from_instance(self, obj: Any) -> str:
        """Return the name, and that no mail reaches who has no address."""
        return f"{obj.name_shown}" + ("" if obj.email else " (no e-mail address on file)")


def _time() -> forms.TimeInput:
    return forms.TimeInput({"type": "time", "class": "short"}, format="%H:%M")


class AlertForm(HouseForm):
    """Stages, people, hours, escalation and web hook."""

    GROUPS: Groups = (
        (
            "When",
            "The due date itself is told always. Separate stages by commas, in hours (h), days (d) or weeks (w).",
            ("hours_before", "long_hours_before", "each_day_overdue"),
        ),
        ("Whom", "As long as they are on the crew of this rig.", ("roles", "people", "by_mail")),
        (
            "Hours",
            "On the rig's clock. In quiet hours mail waits for their end; in the app an alert is there at once.",
            ("digest_at", "quiet_from", "quiet_until", "urgent_in_quiet"),
        ),
        (
            "When nobody acknowledges",
            "The rig managers are told then.",
            ("escalate_after_hours", "escalate_from_hours"),
        ),
        (
            "Web hook",
            "For another program to be told; see below how it knows that we call.",
            ("hook_url", "hook_secret"),
        ),
    )

    hours_before = StagesField(label="Stages of tests, before the due date", required=False, max_length=100)
    long_hours_before = StagesField(
        label="Stages of what takes weeks to arrange",
        required=False,
        max_length=100,
        help_text="Calibrations, papers, elastomers, shell tests, inspections and overhauls.",
    )
    each_day_overdue = forms.BooleanField(label="Tell again each day it is overdue", required=False)
    roles = forms.MultipleChoiceField(
        label="Roles", required=False, choices=CrewRole.choices, widget=forms.CheckboxSelectMultiple
    )
    people = _PeopleField(label="People", queryset=None, required=False, widget=forms.CheckboxSelectMultiple)
    by_mail = forms.BooleanField(label="By e-mail too, beside the app", required=False)
    digest_at = forms.TimeField(
        label="Daily digest at", required=False, widget=_time(), help_text="By e-mail. Leave empty for none."
    )
    quiet_from = forms.TimeField(label="Quiet from", required=False, widget=_time())
    quiet_until = forms.TimeField(label="Quiet until", required=False, widget=_time())
    urgent_in_quiet = forms.BooleanField(
        label="What is overdue or due at once does not wait for the end of quiet hours", required=False
    )
    escalate_after_hours = forms.IntegerField(
        label="Escalate after, hours",
        required=False,
        min_value=1,
        widget=forms.NumberInput({"class": "short"}),
        help_text="Leave empty to escalate nothing.",
    )
    escalate_from_hours = forms.IntegerField(
        label="Only from so many hours before the due date on",
        min_value=0,
        max_value=2160,
        widget=forms.NumberInput({"class": "short"}),
    )
    hook_url = forms.CharField(
        label="Address",
        required=False,
        max_length=500,
        widget=forms.TextInput({"inputmode": "url", "autocomplete": "off", "spellcheck": "false"}),
        help_text="Begins with https:// or http://. Leave empty for none.",
    )
    hook_secret = forms.CharField(
        label="Secret",
        required=False,
        max_length=200,
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
        help_text="At least 16 characters, the same as at the receiver. It is never shown again; empty keeps the old.",
    )

    def __init__(self, posted: Any = None, *, chosen: AlertSettings, crew: Any, **options: Any) -> None:
        initial = {name: getattr(chosen, name) for name in self.base_fields if hasattr(chosen, name)}
        initial |= {"people": [person.pk for person in chosen.people.all()], "hook_secret": ""}
        super().__init__(posted, initial=initial, **options)
        people: forms.ModelMultipleChoiceField[User] = self.fields["people"]  # type: ignore[assignment]
        people.queryset = crew
