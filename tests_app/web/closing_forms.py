"""The end of a test as forms: conclusion, signature, correction."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, cast

from django import forms

from equipment.models import Rig
from tests_app.models import Record, SigningRole
from tests_app.web.times import RigTimeField, after


class ConcludeForm(forms.Form):
    """When the test was over: the next deadline counts from then."""

    def __init__(self, data: Any = None, *, rig: Rig, at: datetime, **kwargs: Any) -> None:
        super().__init__(data, prefix="conclude", **kwargs)
        concluded = RigTimeField(rig.zone, label="Concluded")
        concluded.help_text = f"On the rig's clock ({concluded.zone_note(at)}). The next deadline counts from it."
        concluded.error_messages["required"] = "Give the time the last hold was over."
        self.fields["concluded_at"] = concluded

    def concluded_after(self, record: Record) -> datetime:
        """Return the conclusion; in an hour the clock shows twice, the one that lies after the start."""
        return after(self.cleaned_data["concluded_at"], record.started_at)


class SignForm(forms.Form):
    """Capacity and the password again; the name is the account's."""

    role = forms.ChoiceField(
        label="You sign as",
        help_text="What your role on this rig allows.",
        error_messages={"required": "Choose in which role you sign."},
    )
    password = forms.CharField(
        label="Your password, once more",
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "current-password"}),
        help_text="Nobody else can sign from a page you left open.",
        error_messages={"required": "Type your password: a signature needs it anew."},
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, capacities: Sequence[SigningRole], **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        offered = [("", "Choose"), *((each.value, each.label) for each in capacities)]
        cast(forms.ChoiceField, self.fields["role"]).choices = offered


class CorrectForm(forms.Form):
    """Why a signed record is corrected."""

    reason = forms.CharField(
        label="What is wrong with it",
        widget=forms.Textarea({"rows": 3}),
        help_text="It stands in the new record and on its certificate. The signed record stays as it is.",
        error_messages={"required": "Say what is wrong with the signed record."},
    )
