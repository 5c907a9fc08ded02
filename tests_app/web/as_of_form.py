"""A moment of the past to look at, on the rig's clock, and on what knowledge."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError

from tests_app.web.past_links import THEN, moment_asked
from tests_app.web.times import RigTimeField

NOW: Final = "now"
KNOWN_CHOICES: Final = [(NOW, "As known now"), (THEN, "As known then")]


class PastMomentField(RigTimeField):
    """A moment as typed on the rig's clock, or as an address carries it, in UTC."""

    def prepare_value(self, value: Any) -> Any:
        """Return the moment as the rig's clock shows it; what can't be read as it was typed."""
        if isinstance(value, str):
            try:
                value = self.to_python(value)
            except ValidationError:
                return value
        return super().prepare_value(value)


class AsOfForm(forms.Form):
    """Date and time on the rig's clock, and whether only what was known then counts."""

    known = forms.ChoiceField(label="On what knowledge", choices=KNOWN_CHOICES, initial=NOW)

    def __init__(self, *args: Any, zone: ZoneInfo, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.now = now
        self.zone = zone
        self.fields["at"] = PastMomentField(
            zone,
            label="Date and time",
            initial=now.replace(second=0, microsecond=0),
        )
        self.order_fields(["at", "known"])

    @classmethod
    def asked(cls, given: Mapping[str, str], *, zone: ZoneInfo, now: datetime, **kwargs: Any) -> "AsOfForm":
        """Return the form as an address fills it; what it leaves out is now, as known now."""
        whole = {"at": moment_asked(now), "known": NOW, **{key: given[key] for key in ("at", "known") if key in given}}
        return cls(whole, zone=zone, now=now, **kwargs)

    def clean_at(self) -> datetime:
        """Refuse a moment that lies ahead."""
        at: datetime = self.cleaned_data["at"]
        if at > self.now:
            raise ValidationError(
                "This moment lies ahead. The due list and the calendar show what will fall due; give one that has been."
            )
        return at

    @property
    def moment(self) -> datetime:
        """Return the moment asked for, or now."""
        at: datetime = self.cleaned_data["at"]
        return at

    @property
    def known_at(self) -> datetime | None:
        """Return until when what was entered counts; None for all that is known now."""
        return self.moment if self.known_key == THEN else None

    @property
    def known_key(self) -> str:
        """Return the choice made."""
        known: str = self.cleaned_data["known"]
        return known
