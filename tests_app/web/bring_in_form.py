"""The form that takes a file of rows."""

from typing import Any, Final

from django import forms

from calcs.sizes import megabytes
from tests_app.documents.sheet_files import MOST_BYTES, MOST_ROWS
from tests_app.models import SheetKind


class BringInForm(forms.Form):
    """What the rows are, and the file."""

    sheet = forms.ChoiceField(label="What the rows are")
    file = forms.FileField(
        label="File",
        max_length=200,
        help_text=f"CSV or XLSX, at most {MOST_ROWS:,} rows and {megabytes(MOST_BYTES)}. "
        "Nothing is put on file before you have seen what happens to each row.",
        widget=forms.FileInput({"accept": ".csv,.xlsx,.tsv,.txt", "data-max-bytes": MOST_BYTES}),
        error_messages={"required": "Choose a file.", "empty": "The file is empty. Choose another."},
    )

    def __init__(self, *args: Any, sheets: list[str], **options: Any) -> None:
        super().__init__(*args, **options)
        choice = self.fields["sheet"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = [(key, words) for key, words in SheetKind.choices if key in sheets]


class ReferenceForm(forms.Form):
    """The paper a test was compared with."""

    reference = forms.CharField(
        label="Paper it was compared with",
        max_length=200,
        help_text="The certificate or chart you have in hand, and where it is kept.",
        error_messages={"required": "Name the paper you compared it with, and where it is kept."},
    )


TOO_LARGE: Final = f"The file is larger than the {megabytes(MOST_BYTES)} taken here, so it was not read."
