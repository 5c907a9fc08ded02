"""The calculations on a recorder's file as forms: one step judged, and the holds of a whole test found."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Final, cast

from django import forms

from calcs.recording_layouts import text_bytes
from calcs.units import Dimension
from equipment.web.fields import QuantityFormField
from tests_app.web.calculator_base import CalculationForm, written
from tests_app.web.evidence_forms import AttachForm
from tests_app.web.uploads import LIMIT

FEWEST_STEPS: Final = 3
SPARE_STEPS: Final = 2
MOST_STEPS: Final = 40
ASKED: Final = "asked"
NONE: Final = "none"
_BAND: Final = ("low_min", "low_max", "restart_above")
_PARTS: Final = ("target", "low_from", "low_to", "lasts")


class RecorderForm(CalculationForm):
    """A recorder's file, sent or pasted, and what its holds have in common."""

    uploads = True
    when = dict.fromkeys(_BAND, ("low_test", ASKED))
    file = forms.FileField(
        label="Recorder file",
        required=False,
        allow_empty_file=True,
        max_length=200,
        widget=forms.FileInput({**LIMIT, "accept": ".csv,.tsv,.txt,.asc,.dat,text/*"}),
    )
    recording_csv = forms.CharField(
        label="or its text, pasted",
        required=False,
        strip=False,
        widget=forms.Textarea({"rows": 4, "spellcheck": "false"}),
    )
    pressure_unit = forms.ChoiceField(
        label="Pressure unit",
        required=False,
        choices=cast(forms.ChoiceField, AttachForm.base_fields["pressure_unit"]).choices,
        help_text="Only where the file does not name it.",
    )
    channel = forms.CharField(
        label="Pressure channel",
        required=False,
        max_length=120,
        help_text="Name of the column, where the file has several. Left empty, the first is read; the answer says so.",
    )
    low_test = forms.ChoiceField(
        label="Low test",
        required=False,
        choices=[(ASKED, "Asked, before the high one"), (NONE, "None asked: the high one alone")],
        help_text="Few rules ask for none. Left out by mistake, a test would pass without it.",
    )
    low_min = QuantityFormField(Dimension.PRESSURE, label="Low band from", initial="250 psi", required=False)
    low_max = QuantityFormField(Dimension.PRESSURE, label="to", initial="350 psi", required=False)
    restart_above = QuantityFormField(
        Dimension.PRESSURE, label="Bleed to zero and begin again over", initial="500 psi", required=False
    )
    hold = QuantityFormField(Dimension.TIME, label="Each hold lasts", initial="5 min")
    max_decay = QuantityFormField(Dimension.PRESSURE, label="Largest decay allowed", required=False)

    def clean(self) -> dict[str, Any]:
        """Take the file where there is one, else the text; the low band only where a low test is asked."""
        upload = self.cleaned_data.get("file")
        if not upload and not self.cleaned_data.get("recording_csv"):
            self.add_error("file", "Choose the recorder's file, or paste its text.")
        for name in _BAND if self.asks_low else ():
            if not self.cleaned_data.get(name) and not self.has_error(name):
                self.add_error(name, "This is missing. Fill it in, or say that no low test is asked.")
        return self.cleaned_data

    @property
    def asks_low(self) -> bool:
        """Tell whether a low test is asked; where the form does not say, it is."""
        return self.cleaned_data.get("low_test") != NONE

    def recording(self) -> dict[str, str]:
        """Return the file as the document holds it; its bytes are read as the recorder's own reader reads them."""
        upload = self.cleaned_data.get("file")
        text = text_bytes(upload.read()).decode("utf-8") if upload else self.cleaned_data["recording_csv"]
        return {"recording_csv": text, **self.given("pressure_unit", "channel")}

    def rule(self, target: Any, *, low_min: Any = None, low_max: Any = None, hold: Any = None) -> dict[str, Any]:
        """Return the rule of one step: its high pressure, and what it has of its own in place of what all share."""
        shared = self.cleaned_data
        band = {
            "min": low_min or shared["low_min"],
            "max": low_max or shared["low_max"],
            "restart_above": shared["restart_above"],
        }
        return {
            "low": {name: written(value) for name, value in band.items()} if self.asks_low else None,
            "high": {"target": written(target)},
            "hold": written(hold or shared["hold"]),
            **self.given("max_decay"),
        }


class HoldCheckForm(RecorderForm):
    """A recorder file judged without a record."""

    name = "hold-check"
    title = "Hold check"
    summary = "Judge the low and the high hold of a recorder file; nothing of it is kept."
    target = QuantityFormField(Dimension.PRESSURE, label="High pressure")
    field_order = (
        *("file", "recording_csv", "pressure_unit", "channel"),
        *("low_test", *_BAND, "target", "hold", "max_decay"),
    )
    places = {
        "rule.low.min": "low_min",
        "rule.low.max": "low_max",
        "rule.low.restart_above": "restart_above",
        "rule.high.target": "target",
        "rule.hold": "hold",
        "rule.max_decay": "max_decay",
        "recording_csv": "file",
        "recording": "file",
    }

    def document(self) -> dict[str, Any]:
        """Return the document."""
        return {**self.recording(), "rule": self.rule(self.cleaned_data["target"])}


@dataclass(frozen=True)
class StepRow:
    """One step as the page shows it: its number and its fields."""

    number: int
    target: forms.BoundField
    own: tuple[forms.BoundField, ...]

    @property
    def has_own(self) -> bool:
        """Tell whether it has a band or a hold of its own, or one was refused."""
        return any(field.errors or str((field.value() or ("",))[0] or "").strip() for field in self.own)


class FindHoldsForm(RecorderForm):
    """The holds in a recorder file of a whole test, and the step each is proposed for."""

    name = "find-holds"
    title = "Holds of a whole test"
    summary = "Cut a recorder file of a whole test into its holds, and see which step each is proposed for."
    places = {"recording_csv": "file", "recording": "file", "rules": "target_1"}

    def __init__(self, data: Any = None, files: Any = None, **options: Any) -> None:
        super().__init__(data, files, **options)
        self.row_numbers = range(1, min(MOST_STEPS, max(FEWEST_STEPS, _last_row(data or {}) + SPARE_STEPS)) + 1)
        for number in self.row_numbers:
            for name, field in _row_fields(number).items():
                field.prefer(self.units)
                self.fields[name] = field
        self.apart: Collection[str] = [f"{part}_{number}" for number in self.row_numbers for part in _PARTS]

    def step_rows(self) -> list[StepRow]:
        """Return the rows of steps for the page."""
        return [
            StepRow(n, self[f"target_{n}"], tuple(self[f"{part}_{n}"] for part in _PARTS[1:])) for n in self.row_numbers
        ]

    def clean(self) -> dict[str, Any]:
        """Refuse a row without its high pressure, and no step at all."""
        found = super().clean()
        for number in self.row_numbers:
            others = [self._part(part, number) for part in _PARTS[1:]]
            if any(others) and not self._part("target", number) and not self.has_error(f"target_{number}"):
                self.add_error(f"target_{number}", "The high pressure is missing. Give it, or empty the row.")
            for part in ("low_from", "low_to") if not self.asks_low else ():
                if self._part(part, number):
                    self.add_error(f"{part}_{number}", "No low test is asked above. Empty this, or ask for one there.")
        if not self.errors and not self._steps():
            self.add_error("target_1", "No step is given. Give the high pressure of each, in the order tested.")
        return found

    def document(self) -> dict[str, Any]:
        """Return the document: a rule for each row filled in, in order."""
        rules = []
        for number in self._steps():
            target, low_from, low_to, lasts = (self._part(part, number) for part in _PARTS)
            rules.append(self.rule(target, low_min=low_from, low_max=low_to, hold=lasts))
        return {**self.recording(), "rules": rules}

    def row_places(self) -> dict[str, str]:
        """Return the field of the form for each path of the document's rules."""
        found: dict[str, str] = {}
        for index, number in enumerate(self._steps()):
            own = dict(zip(("high.target", "low.min", "low.max", "hold"), _PARTS, strict=True))
            shared = {"low.min": "low_min", "low.max": "low_max", "hold": "hold"}
            for path, part in own.items():
                field = f"{part}_{number}" if self._part(part, number) or path not in shared else shared[path]
                found[f"rules.{index}.{path}"] = field
            found[f"rules.{index}.low.restart_above"] = "restart_above"
            found[f"rules.{index}.max_decay"] = "max_decay"
        return found

    def _steps(self) -> list[int]:
        return [number for number in self.row_numbers if self._part("target", number)]

    def _part(self, part: str, number: int) -> Any:
        return self.cleaned_data.get(f"{part}_{number}")


def _last_row(given: Mapping[str, Any]) -> int:
    """Return the number of the last row with a figure in it."""
    filled = [
        number
        for number in range(1, MOST_STEPS + 1)
        if any(str(given.get(f"{part}_{number}_number") or "").strip() for part in _PARTS)
    ]
    return max(filled, default=0)


def _row_fields(number: int) -> dict[str, QuantityFormField]:
    def pressure(label: str) -> QuantityFormField:
        return QuantityFormField(Dimension.PRESSURE, label=f"{label} of step {number}", required=False)

    return {
        f"target_{number}": pressure("High pressure"),
        f"low_from_{number}": pressure("Low band from"),
        f"low_to_{number}": pressure("Low band to"),
        f"lasts_{number}": QuantityFormField(Dimension.TIME, label=f"Hold of step {number}", required=False),
    }
