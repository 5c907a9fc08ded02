"""What proves a step, as forms: recorder files, charts, readings typed in, marks, leaks."""

from dataclasses import dataclass
from typing import Any, Final, cast
from zoneinfo import ZoneInfo

from django import forms
from django.core import signing
from django.core.files.uploadedfile import UploadedFile
from django.http import QueryDict

from calcs.errors import InputError
from calcs.recording_layouts import text_bytes
from calcs.units import ENTRY_UNITS, Dimension
from equipment import files
from equipment.web.fields import QuantityFormField
from tests_app.actions.readings import HoldReading
from tests_app.models import Line, Recording
from tests_app.web.times import RigTimeField, SpanField
from tests_app.web.uploads import LIMIT

_SALT: Final = "tests_app.upload-kept"
_KEPT_SECONDS: Final = 24 * 3600
_SPAN_INPUT: Final = {"class": "short", "autocomplete": "off"}
_CHOOSE: Final = "Choose the recorder's file: the CSV or text export."
_FROM_FILE: Final = [("", "As the file says")]


@dataclass(frozen=True)
class Received:
    """A file as it came in."""

    name: str
    content: bytes
    content_type: str

    @classmethod
    def of(cls, upload: UploadedFile) -> "Received":
        """Read an upload; its size was checked before."""
        return cls(upload.name or "file", upload.read(), upload.content_type or "application/octet-stream")

    def keep(self) -> str:
        """Store the bytes and return a signed word for them, so that a refused form needn't send them again."""
        kept = {"sha256": files.keep(self.content), "name": self.name, "type": self.content_type}
        return signing.dumps(kept, salt=_SALT)


def received_before(word: str) -> Received | None:
    """Return the file a signed word stands for; None when it is forged, too old, or the file is gone."""
    try:
        kept = signing.loads(word, salt=_SALT, max_age=_KEPT_SECONDS)
        return Received(kept["name"], files.fetch(kept["sha256"]), kept["type"])
    except (signing.BadSignature, KeyError, files.FileMissing, files.FileAltered):
        return None


class AttachForm(forms.Form):
    """A recorder file. Unit and channel are asked only where it does not say; it need not be sent again for that."""

    file = forms.FileField(
        label="Recorder file",
        allow_empty_file=True,
        max_length=200,
        widget=forms.FileInput({**LIMIT, "accept": ".csv,.tsv,.txt,.asc,.dat,.xml,text/*"}),
        error_messages={"required": _CHOOSE},
    )
    pressure_unit = forms.ChoiceField(
        label="Pressure unit",
        required=False,
        choices=[*_FROM_FILE, *((unit, unit) for unit in ENTRY_UNITS[Dimension.PRESSURE])],
        help_text="Only where the file's own heading does not name it.",
    )
    channel = forms.CharField(
        label="Pressure channel",
        required=False,
        max_length=120,
        help_text="Name of the column, where the file has several. Left empty, you are asked.",
    )
    kept = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.is_text = False
        if self.is_bound and self.data.get(self.add_prefix("kept")):
            self.fields["file"].required = False

    def clean(self) -> dict[str, Any]:
        """Find the file: the one sent now, else the one sent with the refused form before."""
        given = self.cleaned_data
        upload = given.get("file")
        received = Received.of(upload) if upload else received_before(given.get("kept") or "")
        if received is None and "file" not in self.errors:
            self.add_error("file", _CHOOSE)
        given["received"] = received
        return given

    def keep_file(self) -> None:
        """Keep the file of this refused form, so that only the answer to the question has to be sent."""
        received = self.cleaned_data.get("received")
        self.is_text = received is not None and _is_text(received.content)
        typed = cast(QueryDict, self.data).copy()
        typed[self.add_prefix("kept")] = received.keep() if received is not None and self.is_text else ""
        self.data = typed

    @property
    def kept_name(self) -> str:
        """Return the name of the file kept from this refused form, or nothing."""
        received = self.cleaned_data.get("received") if self.is_text else None
        return received.name if received else ""

    @property
    def asks(self) -> bool:
        """Tell whether unit or channel may be the answer: the file is text, and yet could not be read."""
        return self.is_text


def _is_text(content: bytes) -> bool:
    try:
        return bool(text_bytes(content))
    except InputError:
        return False


class ChartForm(forms.Form):
    """A scan or photo of a paper chart."""

    file = forms.FileField(
        label="Scan or photo of the chart",
        allow_empty_file=True,
        max_length=200,
        widget=forms.FileInput({**LIMIT, "accept": "image/*,application/pdf"}),
        error_messages={"required": "Choose the picture or PDF of the chart."},
    )


class MarksForm(forms.Form):
    """The span of a recording a step is judged on. Numbers alone suffice; the plot moves the same numbers."""

    recording = forms.TypedChoiceField(label="Judged from", coerce=int)
    start_s = SpanField(label="From", widget=forms.TextInput({**_SPAN_INPUT, "data-mark-start": True}))
    end_s = SpanField(label="To", widget=forms.TextInput({**_SPAN_INPUT, "data-mark-end": True}))
    reason = forms.CharField(
        label="Why the marks are moved",
        max_length=200,
        required=False,
        help_text="Only where they leave what was proposed. It stands on the certificate.",
    )

    def __init__(self, data: Any = None, *, recordings: list[Recording], **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.recordings = recordings
        cast(forms.ChoiceField, self.fields["recording"]).choices = [(one.pk, one.file_name) for one in recordings]
        if len(recordings) == 1:
            self.fields["recording"].widget = forms.HiddenInput()
            self.fields["recording"].initial = recordings[0].pk
        for name in ("start_s", "end_s"):
            self.fields[name].error_messages["required"] = "Give the time into the recording, such as 0:12:30."

    def clean(self) -> dict[str, Any]:
        """Refuse marks that end before they begin."""
        start, end = self.cleaned_data.get("start_s"), self.cleaned_data.get("end_s")
        if start is not None and end is not None and end <= start:
            self.add_error("end_s", "The part judged ends before it begins: give a later time.")
        return self.cleaned_data

    def chosen_recording(self) -> Recording:
        """Return the recording chosen."""
        return next(one for one in self.recordings if one.pk == self.cleaned_data["recording"])


class ReadingsForm(forms.Form):
    """Both holds of a step as read by eye; the high one alone where no low test is asked."""

    low_start_pressure = QuantityFormField(Dimension.PRESSURE, label="Pressure at its start")
    low_end_pressure = QuantityFormField(Dimension.PRESSURE, label="Pressure at its end")
    highest_before = QuantityFormField(
        Dimension.PRESSURE,
        label="Highest pressure before it",
        help_text="Since the line was last at zero.",
    )
    high_start_pressure = QuantityFormField(Dimension.PRESSURE, label="Pressure at its start")
    high_end_pressure = QuantityFormField(Dimension.PRESSURE, label="Pressure at its end")
    reason = forms.CharField(
        label="Why they are typed in",
        max_length=200,
        help_text="Such as: recorder failed, paper chart attached. It stands on the certificate.",
    )

    def __init__(self, data: Any = None, *, zone: ZoneInfo, asks_low: bool = True, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.asks_low = asks_low
        if not asks_low:
            for name in ("low_start_pressure", "low_end_pressure", "highest_before"):
                del self.fields[name]
        for phase in ("low", "high") if asks_low else ("high",):
            for end, label in (("start", "Began"), ("end", "Ended")):
                self.fields[f"{phase}_{end}_at"] = RigTimeField(zone, seconds=True, label=label)
        self.fields["reason"].error_messages["required"] = "Say why the readings are typed in."

    def low_reading(self) -> HoldReading | None:
        """Return the low hold as the action takes it; None where none is asked."""
        return self.reading("low") if self.asks_low else None

    def reading(self, phase: str) -> HoldReading:
        """Return one hold as the action takes it."""
        given = self.cleaned_data
        return HoldReading(
            start_at=given[f"{phase}_start_at"],
            end_at=given[f"{phase}_end_at"],
            start_pressure=_text(given[f"{phase}_start_pressure"]),
            end_pressure=_text(given[f"{phase}_end_pressure"]),
            highest_before=_text(given["highest_before"]) if phase == "low" else "",
        )


def _text(given: Any) -> str:
    return f"{given.text} {given.unit}" if given else ""


class LeakForm(forms.Form):
    """What was seen at one element: a leak fails its line even where the pressure held."""

    leak_seen = forms.BooleanField(label="A leak was seen", required=False)
    leak_description = forms.CharField(
        label="Where and how much", max_length=300, required=False, help_text="Such as: one drop in 10 s at the bonnet."
    )
    remarks = forms.CharField(label="Remarks", max_length=300, required=False)

    @classmethod
    def about(cls, line: Line, data: Any = None) -> "LeakForm":
        """Return the form of one line, as it stands."""
        stands = {"leak_seen": line.leak_seen, "leak_description": line.leak_description, "remarks": line.remarks}
        return cls(data, prefix=f"line-{line.pk}", initial=stands)


class ReasonForm(forms.Form):
    """A reason for something that is not undone."""

    reason = forms.CharField(label="Reason", max_length=200, error_messages={"required": "Say why, in a few words."})
