"""The texts of editions on file, and what differs from one to the next."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from tests_app import rulebook, seals
from tests_app.models import EditionText

ABSENT: Final = "nothing"


@dataclass(frozen=True)
class Differing:
    """One figure two texts of an edition state differently: where, before, after."""

    where: str
    before: str
    after: str


@dataclass(frozen=True)
class TextOnFile:
    """One text with what it changed against the one loaded before it."""

    text: EditionText
    changed: tuple[Differing, ...]


def texts_of(edition: str) -> list[TextOnFile]:
    """Return the texts of an edition on file, the latest first. One query."""
    rows = list(EditionText.objects.filter(edition=edition).order_by("loaded_at", "pk"))
    earlier = [None, *rows]
    told = [
        TextOnFile(row, differing(one.content, row.content) if one else ())
        for one, row in zip(earlier, rows, strict=False)
    ]
    return told[::-1]


def texts_not_on_file() -> list[tuple[str, dict[str, Any]]]:
    """Return what the shipped rule files say and the database does not hold, each with its hash."""
    known = set(EditionText.objects.values_list("edition", "sha256"))
    shipped = [(seals.sha256_of(text), text) for text in rulebook.texts()]
    return [(sha256, text) for sha256, text in shipped if (text["id"], sha256) not in known]


def differing(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Differing, ...]:
    """Return every figure that differs, rules matched by their ids.

    >>> before, after = ({"rules": [{"id": "a", "hold": {"time": time}}]} for time in ("5 min", "3 min"))
    >>> differing(before, after)
    (Differing(where='a: hold time', before='5 min', after='3 min'),)
    """
    return tuple(_differing("", _by_id(before), _by_id(after)))


def _by_id(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return the content with its rules under their ids, so that one taken out shifts none of the others."""
    rules = {f"{rule['id']}:": rule for rule in content.get("rules", ())}
    return {**{key: value for key, value in content.items() if key != "rules"}, **rules}


def _differing(where: str, before: Any, after: Any) -> Iterator[Differing]:
    if before == after:
        return
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        for key in dict.fromkeys([*before, *after]):
            yield from _differing(f"{where} {key}".strip(), before.get(key), after.get(key))
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for index, (one, other) in enumerate(zip(before, after, strict=True), start=1):
            yield from _differing(f"{where} {index}", one, other)
    else:
        yield Differing(where, _words(before), _words(after))


def _words(value: Any) -> str:
    return ABSENT if value is None else str(value)
