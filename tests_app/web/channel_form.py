"""Which column of a recorder file is the pressure of the test, as a form: asked where several can be."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

from django import forms

from calcs.units import Dimension, from_si
from tests_app.models import Recording


@dataclass(frozen=True)
class Column:
    """One column of a file, with what it shows in its own unit."""

    name: str
    chosen: bool
    unit: str = ""
    first: dict[str, Any] | None = None
    last: dict[str, Any] | None = None
    highest: dict[str, Any] | None = None
    refused: str = ""

    @property
    def usable(self) -> bool:
        """Tell whether it can be chosen."""
        return not self.refused


class ChannelForm(forms.Form):
    """The column that is the pressure of the test, and the reason where another was read before."""

    channel = forms.ChoiceField(
        label="Pressure column",
        error_messages={"required": "Choose the column the test was recorded on."},
    )
    reason = forms.CharField(
        label="Why another column is read",
        max_length=200,
        required=False,
        help_text="It stands on the certificate.",
    )

    def __init__(self, data: Any = None, *, recording: Recording) -> None:
        super().__init__(data, prefix=f"channel-{recording.pk}", initial={"channel": recording.channel})
        self.recording = recording
        self.columns = columns_of(recording)
        choices = [(column.name, column.name) for column in self.columns]
        cast(forms.ChoiceField, self.fields["channel"]).choices = choices
        if recording.awaits_channel:
            del self.fields["reason"]

    @property
    def asked(self) -> str:
        """Return the column picked so far."""
        return str(self["channel"].value() or "")


def columns_of(recording: Recording) -> Sequence[Column]:
    """Return the columns that can be the pressure; without figures in files kept before these were."""
    kept = recording.facts.get("choices") or [{"name": name} for name in recording.facts.get("channels", ())]
    return [_column(one, recording) for one in kept]


def _column(kept: dict[str, Any], recording: Recording) -> Column:
    chosen = kept["name"] == recording.channel
    if "unit" not in kept:
        return Column(kept["name"], chosen, refused=kept.get("refused", ""))
    unit = kept["unit"]
    first, last, highest = (
        {"value": from_si(kept[name], unit, Dimension.PRESSURE), "unit": unit} for name in ("first", "last", "highest")
    )
    return Column(kept["name"], chosen, unit, first, last, highest)
