"""What an action refuses, put beside the field it is about."""

from collections.abc import Callable, Mapping
from http import HTTPStatus
from typing import Final, TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.forms import BaseForm
from django.http import QueryDict

from calcs.errors import InputError
from equipment.errors import Refused
from tests_app.errors import RecordIsSealed, RecordIsStale, SignedAlready

T = TypeVar("T")
CONFLICT: Final = "conflict"
"""Code of the errors that say: somebody else was faster."""
_NO_NAMES: Final[Mapping[str, str]] = {}
_QUANTITY_PARTS: Final = ("_value", "_unit", "_si")


def attempt(form: BaseForm, act: Callable[[], T], *, names: Mapping[str, str] = _NO_NAMES) -> T | None:
    """Return what the action returns, or None once its refusal stands on the form.

    `names` translates the action's names of values into the form's where they differ.
    """
    try:
        return act()
    except (RecordIsStale, RecordIsSealed, SignedAlready) as conflict:
        form.add_error(None, ValidationError(str(conflict), code=CONFLICT))
    except (Refused, InputError) as refusal:
        form.add_error(_field(form, refusal.field, names), str(refusal))
    except ValidationError as error:
        _spread(form, error, names)
    return None


def status_of(form: BaseForm) -> int:
    """Return the status a refused form is answered with: 409 when somebody else was faster, else 422."""
    conflict = form.has_error(NON_FIELD_ERRORS, CONFLICT)
    return HTTPStatus.CONFLICT if conflict else HTTPStatus.UNPROCESSABLE_ENTITY


def take_over(form: BaseForm, post: QueryDict, version: int) -> None:
    """Give a form refused for being stale the version of now: sent again on purpose, it takes the other's place."""
    typed = post.copy()
    typed["version"] = str(version)
    form.data = typed


def _spread(form: BaseForm, error: ValidationError, names: Mapping[str, str]) -> None:
    if not hasattr(error, "error_dict"):
        form.add_error(None, error.messages)
        return
    for name, messages in error.message_dict.items():
        for message in messages:
            form.add_error(_field(form, name, names), message)


def _field(form: BaseForm, name: str, names: Mapping[str, str]) -> str | None:
    """Return the form's field for the action's name of a value; None, the whole form, where it has none."""
    if name == NON_FIELD_ERRORS:
        return None
    candidates = [names.get(name, name)]
    candidates += [name.removesuffix(part) for part in _QUANTITY_PARTS if name.endswith(part)]
    candidates += [name.partition(".")[0]]
    return next((found for found in candidates if found in form.fields), None)
