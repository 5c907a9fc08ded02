"""What an action refuses, put beside the field it concerns."""

from collections.abc import Callable
from typing import TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.forms import BaseForm

from equipment.errors import Refused

Answer = TypeVar("Answer")


def attempt(form: BaseForm, act: Callable[[], Answer]) -> Answer | None:
    """Return what the action returns, or None once its refusal stands on the form."""
    try:
        return act()
    except Refused as refused:
        form.add_error(_place(form, refused.field), str(refused))
    except ValidationError as error:
        found = error.message_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: error.messages}
        for name, messages in found.items():
            for message in messages:
                form.add_error(_place(form, name), message)
    return None


def _place(form: BaseForm, name: str) -> str | None:
    """Return the form's field of that name, or None, the whole form, where it has none."""
    return name if name in form.fields else None
