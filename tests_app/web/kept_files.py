"""A file on a form that may be refused: kept when it came in, so that it need not be chosen again."""

from typing import Final, cast

from django import forms
from django.http import QueryDict

from calcs.sizes import MEGABYTE, megabytes
from equipment.actions.documents import LARGEST_DOCUMENT
from tests_app.web.evidence_forms import Received, received_before

KEPT: Final = "kept"


def evidence_field(*, label: str, required: bool, help_text: str = "") -> forms.FileField:
    """Return the field of a file of evidence."""
    said = f"Scan, photo or PDF, kept as received; up to {megabytes(LARGEST_DOCUMENT)}."
    return forms.FileField(
        label=label,
        required=required,
        allow_empty_file=True,
        max_length=200,
        help_text=f"{help_text} {said}".strip(),
        widget=forms.FileInput({"data-max-bytes": LARGEST_DOCUMENT, "data-megabyte": MEGABYTE}),
        error_messages={"required": "The file is missing. Choose it."},
    )


class KeepsFile(forms.Form):
    """A form with one file under the name `evidence`, given now or with the same form before."""

    kept = forms.CharField(required=False, widget=forms.HiddenInput)

    def received(self) -> Received | None:
        """Return the file sent now, else the one sent with the refused form before; None where there is none."""
        if not hasattr(self, "_received"):
            upload = self.cleaned_data.get("evidence")
            word = self.cleaned_data.get(KEPT) or ""
            self._received = Received.of(upload) if upload else received_before(word)
        return self._received

    def accept_kept(self) -> None:
        """Ask for no file where one was kept; call it once the fields stand."""
        if self.is_bound and received_before(self.data.get(self.add_prefix(KEPT), "")) is not None:
            self.fields["evidence"].required = False

    def keep_file(self) -> None:
        """Keep the file of this refused form; an empty one is chosen anew."""
        found = self.received() if hasattr(self, "cleaned_data") else None
        typed = cast(QueryDict, self.data).copy()
        fit = found is not None and 0 < len(found.content) <= LARGEST_DOCUMENT
        typed[self.add_prefix(KEPT)] = found.keep() if found is not None and fit else ""
        self.data = typed
        self._kept_name = found.name if found is not None and fit else ""

    @property
    def kept_name(self) -> str:
        """Return the name of the file kept from this refused form, or nothing."""
        return str(getattr(self, "_kept_name", ""))
