"""Documents as JSON text: strict on the way in, plain on the way out."""

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from calcs.errors import InputError
from calcs.fields import quoted


def read_document(text: str | bytes) -> dict[str, Any]:
    """Return the JSON object in `text`.

    Refused, with an InputError: anything but one object, a key given twice, numbers that are not
    finite, text that is not UTF-8, and nesting too deep to follow.

    >>> read_document('{"depth": "7000 ft"}')
    {'depth': '7000 ft'}
    """
    try:
        decoded = text.decode("utf-8-sig") if isinstance(text, bytes) else text
    except UnicodeDecodeError as error:
        raise InputError("", "The document is not UTF-8 text.", "Send JSON as UTF-8.") from error
    if not decoded.strip():
        raise InputError("", "The document is empty.", 'Send a JSON object, for instance {"depth": "7000 ft"}.')
    numbers = _Numbers()
    try:
        document = json.loads(
            decoded, parse_constant=numbers.read, parse_float=numbers.read, object_pairs_hook=_refuse_doubles
        )
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise InputError("", f"The document is not JSON: {error.msg} at {where}.", "Send a JSON object.") from error
    except InputError:
        raise
    except (ValueError, RecursionError) as error:  # digits without end, brackets without end
        raise InputError("", "The document can't be read as JSON.", "Send a plain JSON object.") from error
    if not isinstance(document, dict):
        raise InputError("", "The document is not a JSON object.", 'Send {"key": "value", …}.')
    numbers.refuse_not_finite(document)
    return document


def write_answer(answer: dict[str, Any], *, indent: int | None = None) -> str:
    """Return an answer as JSON in ASCII; a number that is not finite would be an error of ours and raises."""
    return json.dumps(answer, allow_nan=False, indent=indent)


def refusal(error: InputError) -> dict[str, Any]:
    """Return an error as every shell answers it.

    >>> refusal(InputError("depth", "This value is missing.", "Give depth."))["error"]["field"]
    'depth'
    """
    return {"error": {"field": error.field, "message": str(error), "remedy": error.remedy}}


@dataclass
class _Numbers:
    """Reads the numbers of a document, and keeps the first that is not finite: its place is known only afterwards."""

    refused: str = ""

    def read(self, literal: str) -> float:
        number = float(literal)
        if not math.isfinite(number) and not self.refused:
            self.refused = literal
        return number

    def refuse_not_finite(self, document: dict[str, Any]) -> None:
        """Refuse the number kept, by the path of the first like it."""
        if self.refused:
            path = _path_of_not_finite(document)
            raise InputError(path, f"{quoted(self.refused)} is not a finite number.", "Give plain finite numbers.")


def _path_of_not_finite(document: dict[str, Any]) -> str:
    """Return the dotted path of the first number that is not finite, however deep it lies."""
    waiting: list[tuple[str, Any]] = [("", document)]
    while waiting:
        path, value = waiting.pop()
        if isinstance(value, float) and not math.isfinite(value):
            return path
        named: Iterable[tuple[Any, Any]] = ()
        if isinstance(value, dict):
            named = value.items()
        elif isinstance(value, list):
            named = enumerate(value)
        inside = [(f"{path}.{key}" if path else str(key), item) for key, item in named]
        waiting.extend(reversed(inside))
    return ""


def _refuse_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise InputError(twice, "This key is given twice.", "Give each key once.")
    return found
