"""Work done as forms: short, with the fields its kind needs and no others."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from django import forms

from calcs.schedule_rule_words import EVIDENCE_WORDS
from calcs.units import Dimension, System
from equipment.models import Document, Elastomer, Instrument
from equipment.web.fields import QuantityFormField, day_input
from equipment.web.forms.base_form import Groups, HouseForm
from tests_app.actions.renewals import Calibration, NewDocument, NewElastomer, Renewal
from tests_app.actions.work import Pressed
from tests_app.models import What
from tests_app.queries.owed import Owed
from tests_app.web.kept_files import KeepsFile, evidence_field
from tests_app.web.times import RigTimeField, after

_MISSING: Final = "This is missing. Fill it in."
AT_ONE_MOMENT: Final[Mapping[str, str]] = {
    What.CALIBRATION: "Calibrated",
    What.DOCUMENT: "Renewed",
    What.NOTICE: "Given",
    What.REPORT: "Sent",
}
"""Work of which only one time is asked, and its word."""
_ALWAYS_PASSED: Final = frozenset({What.DOCUMENT, What.ELASTOMER, What.NOTICE, What.REPORT})
"""Work that is done or not; nothing of it passes or fails."""
_DONE_BY: Final[Mapping[str, str]] = {
    What.DRILL: "Which crews drilled, and who led it",
    What.DOCUMENT: "Who issued it",
    What.NOTICE: "Who gave it",
    What.REPORT: "Who sent it",
}
_FINDINGS: Final[Mapping[str, str]] = {
    What.DRILL: "What was drilled, and how it went",
    What.NOTICE: "What it gives notice of, and to whom",
    What.REPORT: "What it reports, and to whom",
}
_DONE_HELP: Final[Mapping[str, str]] = {
    What.DRILL: "The entry counts for the whole rig: make it once every crew on board has drilled.",
}
_WORDS_OF_PASSED: Final[Mapping[str, tuple[str, str]]] = {
    What.INSPECTION: ("In order", "Not in order"),
    What.DRILL: ("Went as it should", "To be repeated"),
}


class WorkForm(KeepsFile, HouseForm):
    """Work on one thing; which fields it has hangs on what is done."""

    GROUPS: Groups = (
        ("When, and how it went", "", ("started_at", "concluded_at", "passed", "done_by", "findings")),
        (
            "Pressure held",
            "As read off the gauge or recorder.",
            ("pressure_reached", "pressure_left", "held_minutes"),
        ),
        ("New dates of the instrument", "", ("due_on", "certificate_number")),
        (
            "The new document",
            "It follows the old one, which falls due no more.",
            ("title", "number", "issued_on", "expires_on"),
        ),
        (
            "What was fitted",
            "The old one is taken out with it, and tests made before count no more.",
            ("compound", "batch", "expires_on"),
        ),
    )

    def __init__(
        self, posted: Any = None, files: Any = None, *, owed: Owed, at: datetime, units: System = "us", **options: Any
    ) -> None:
        self.owed = owed
        super().__init__(posted, files, units=units, **options)
        self._add(_times(owed, at))
        self._add(_words(owed))
        if owed.is_pressure_held:
            self._add(_pressures())
        self._add(_renewal(owed))
        papers = " and ".join(EVIDENCE_WORDS[one] for one in owed.papers)
        self.fields["evidence"] = evidence_field(
            label="Evidence",
            required=bool(papers),
            help_text=f"Needed: {papers}{', in one file' if len(owed.papers) > 1 else ''}." if papers else "",
        )
        for field in self.fields.values():
            if isinstance(field, QuantityFormField):
                field.prefer(units)
        self.fields["evidence"].error_messages["required"] = f"This needs {papers}. Choose the file."
        self.accept_kept()

    def clean(self) -> dict[str, Any]:
        """Let work that did not pass come without its paper: it renews nothing."""
        if self.cleaned_data.get("passed") == "no" and self.has_error("evidence", "required"):
            del self.errors["evidence"]
        return self.cleaned_data

    def _add(self, fields: Mapping[str, forms.Field]) -> None:
        self.fields.update(fields)

    def ask_about_file(self) -> None:
        """Ask whether the same file is meant: shown once the action pointed it out."""
        self.fields["same_file_meant"] = forms.BooleanField(label="Yes, this file is evidence of both", required=False)

    @property
    def work(self) -> dict[str, Any]:
        """Return what was typed as the action takes it."""
        given = self.cleaned_data
        concluded = given["concluded_at"]
        started = given.get("started_at")
        if started is not None:
            concluded = after(concluded, started) if concluded != started else concluded
        return {
            "started_at": started or concluded,
            "concluded_at": concluded,
            "passed": given.get("passed", "yes") == "yes",
            "done_by": given["done_by"],
            "findings": given.get("findings", ""),
            "pressed": self._pressed(),
            "renewal": self._renewal(),
        }

    def _pressed(self) -> Pressed | None:
        given = self.cleaned_data
        if "pressure_reached" not in self.fields:
            return None
        return Pressed(given["pressure_reached"], given["pressure_left"], given["held_minutes"])

    def _renewal(self) -> Renewal | None:
        given, row = self.cleaned_data, self.owed.row
        if isinstance(row, Document):
            return NewDocument(given["title"], given["number"], given["issued_on"], given["expires_on"])
        if isinstance(row, Elastomer):
            return NewElastomer(given["compound"], given["batch"], given["expires_on"])
        if isinstance(row, Instrument) and given["due_on"] is not None:
            return Calibration(given["due_on"], given["certificate_number"])
        return None


def _times(owed: Owed, at: datetime) -> dict[str, forms.Field]:
    zone = owed.rig.zone
    one = AT_ONE_MOMENT.get(owed.what)
    concluded = RigTimeField(zone, label=one or "Concluded")
    concluded.help_text = f"On the rig's clock, {concluded.zone_note(at)}. The next deadline counts from it."
    concluded.error_messages["required"] = "The time is missing. Give it as the rig's clock showed it."
    if one:
        return {"concluded_at": concluded}
    started = RigTimeField(zone, label="Started")
    started.error_messages["required"] = concluded.error_messages["required"]
    return {"started_at": started, "concluded_at": concluded}


def _words(owed: Owed) -> dict[str, forms.Field]:
    fields: dict[str, forms.Field] = {}
    if owed.what not in _ALWAYS_PASSED:
        yes, no = _WORDS_OF_PASSED.get(owed.what, ("Passed", "Not passed"))
        fields["passed"] = forms.ChoiceField(
            label="Result",
            choices=[("", "Choose"), ("yes", yes), ("no", no)],
            error_messages={"required": "Nothing is chosen. Say how it went."},
        )
    fields["done_by"] = forms.CharField(
        label=_DONE_BY.get(owed.what, "Who did it, and of which company"),
        max_length=150,
        help_text=_DONE_HELP.get(owed.what, ""),
        error_messages={"required": _MISSING},
    )
    fields["findings"] = forms.CharField(
        label=_FINDINGS.get(owed.what, "Findings"),
        required=False,
        max_length=4000,
        widget=forms.Textarea({"rows": 3}),
        help_text="Needed when it did not pass." if "passed" in fields else "",
    )
    return fields


def _pressures() -> dict[str, forms.Field]:
    return {
        "pressure_reached": QuantityFormField(Dimension.PRESSURE, label="When the hold began", positive=True),
        "pressure_left": QuantityFormField(Dimension.PRESSURE, label="When it was over"),
        "held_minutes": forms.DecimalField(
            label="Held for, min",
            min_value=0,
            max_digits=7,
            decimal_places=2,
            widget=forms.TextInput({"inputmode": "decimal", "class": "short", "autocomplete": "off"}),
            error_messages={"required": "The minutes are missing. Give how long it was held."},
        ),
    }


def _renewal(owed: Owed) -> dict[str, forms.Field]:
    row = owed.row
    if isinstance(row, Instrument):
        return {
            "due_on": forms.DateField(
                label="Due again on", required=False, widget=day_input(), help_text="As the certificate says."
            ),
            "certificate_number": forms.CharField(label="Number of the certificate", required=False, max_length=80),
        }
    if isinstance(row, Document):
        return {
            "title": forms.CharField(
                label="Title",
                max_length=120,
                initial=row.title,
                error_messages={"required": _MISSING},
            ),
            "number": forms.CharField(label="Number", required=False, max_length=80),
            "issued_on": forms.DateField(label="Issued on", required=False, widget=day_input()),
            "expires_on": forms.DateField(
                label="Expires on",
                required=False,
                widget=day_input(),
                help_text="Left empty, the document falls due no more.",
            ),
        }
    if isinstance(row, Elastomer):
        return {
            "compound": forms.CharField(label="Compound", required=False, max_length=60, initial=row.compound),
            "batch": forms.CharField(label="Batch", required=False, max_length=60),
            "expires_on": forms.DateField(label="Expires on", required=False, widget=day_input()),
        }
    return {}


class ReasonForm(forms.Form):
    """Why an entry is withdrawn."""

    reason = forms.CharField(
        label="Reason",
        max_length=300,
        help_text="It stays on file with the entry.",
        error_messages={"required": "Say why, in a few words."},
    )
