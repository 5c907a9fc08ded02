"""Canonical JSON of large contents most of which was written before: each part is put into text once."""

import json
import re
from typing import Any, Final

_TOKEN: Final = re.compile(r'"\u2039(\d+)\u203a"')


class Phrases:
    """Texts of parts, by the object they were made of; the objects are kept, so that none takes another's place."""

    def __init__(self) -> None:
        self._numbers: dict[int, int] = {}
        self._kept: list[tuple[Any, str]] = []

    def of(self, part: Any) -> str:
        """Return what stands for a part within a content handed to `canonical`."""
        number = self._numbers.get(id(part))
        if number is None:
            number = self._numbers[id(part)] = len(self._kept)
            self._kept.append((part, _written(part)))
        return f"\u2039{number}\u203a"

    def canonical(self, content: Any) -> str:
        """Return canonical JSON as `seals.canonical` does, by a quicker writer.

        RFC 8785 writes numbers as ECMAScript does. Python's writer differs only for floats that are whole or take an
        exponent: `plain` has been over everything here that holds floats.
        """
        return _TOKEN.sub(lambda found: self._kept[int(found[1])][1], _written(content))


def _written(content: Any) -> str:
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def plain(value: Any) -> Any:
    """Return the value with whole floats as integers and what would take an exponent as nothing."""
    if isinstance(value, dict):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, float):
        return round(value) if value == round(value) or abs(value) < _SMALLEST else value
    return value


_SMALLEST: Final = 1e-4
