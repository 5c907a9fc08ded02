"""Forms that amend what was written down of work, elastomers and documents, each with its reason."""

from typing import Any

from django import forms

from equipment.web.fields import day_input
from equipment.web.forms.components import ComponentForm, DocumentForm, ElastomerForm, ServiceForm


def _reason() -> forms.CharField:
    return forms.CharField(
        label="Reason",
        max_length=200,
        widget=forms.TextInput({"autocomplete": "off"}),
        help_text="What was written down wrongly. What stood there stays readable in the history.",
    )


class ComponentAmendmentForm(ComponentForm):
    """A component as it should stand on file; once it stood in a position, another rating needs a reason."""

    GROUPS = (*ComponentForm.GROUPS, ("Why it is amended", "", ("reason",)))

    reason = forms.CharField(
        label="Reason",
        required=False,
        max_length=200,
        widget=forms.TextInput({"autocomplete": "off"}),
        help_text="Needed where a rating, a bore, a pipe size, a volume or a ratio changes on a component that was "
        "installed: name the paper it is taken from. It stays in the history.",
    )


class ServiceAmendmentForm(ServiceForm):
    """Work as it should have been written down."""

    reason = _reason()

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.order_fields((*self.field_order, "reason"))


class ElastomerAmendmentForm(ElastomerForm):
    """An elastomer as it should have been written down."""

    removed_on = forms.DateField(
        label="Removed on",
        required=False,
        widget=day_input(),
        help_text="Empty takes the removal back: it is fitted still.",
    )
    reason = _reason()

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        if self.row is None or getattr(self.row, "removed_on", None) is None:
            del self.fields["removed_on"]


class DocumentAmendmentForm(DocumentForm):
    """What is on file about a document; the file itself stays as received."""

    file = None  # type: ignore[assignment]
    reason = _reason()
