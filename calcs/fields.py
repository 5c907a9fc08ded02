"""Reading a document field by field: what is missing, misspelt or of the wrong kind is named by its path.

Rule files and calculations are read alike. Keys nobody asked for are errors, so that a misspelt
option is refused instead of silently doing nothing.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final, TypeVar

from calcs import units
from calcs.errors import InputError
from calcs.units import Dimension, Quantity

T = TypeVar("T")
_MISSING: Final = object()
_LONGEST_QUOTE: Final = 60


def quoted(given: object) -> str:
    """Return `given` as quoted in a message, cut to a readable length.

    >>> quoted("psi")
    "'psi'"
    """
    text = repr(given)
    return text if len(text) <= _LONGEST_QUOTE else text[: _LONGEST_QUOTE - 1] + "…"


class Fields:
    """One object of a document, read key by key; `close` refuses the keys that were not read.

    >>> fields = Fields({"depth": "1000 ft", "dept": "1 ft"})
    >>> round(fields.si("depth", Dimension.LENGTH), 1)
    304.8
    >>> fields.close()
    Traceback (most recent call last):
        ...
    calcs.errors.InputError: 'dept' is not known here. Keys read here: depth.
    """

    def __init__(self, given: Any, path: str = "") -> None:
        """Wrap `given`, found at the dotted `path`; raises InputError when it is not an object."""
        if not isinstance(given, Mapping):
            raise InputError(path, "An object with named values is expected.", 'For instance {"key": "value"}.')
        self._given: Mapping[str, Any] = given
        self._asked: list[str] = []
        self._children: list[Fields] = []
        self.path_of_self = path

    def path(self, key: str) -> str:
        """Return the dotted path of `key` in the whole document."""
        return f"{self.path_of_self}.{key}" if self.path_of_self else key

    def has(self, key: str) -> bool:
        """Tell whether `key` is given and not null; the key counts as known from then on."""
        if key not in self._asked:
            self._asked.append(key)
        return self._given.get(key) is not None

    def is_null(self, key: str) -> bool:
        """Tell whether `key` is given as null: said outright that there is none, rather than left out."""
        self.has(key)
        return key in self._given and self._given[key] is None

    def any(self, key: str, default: Any = _MISSING) -> Any:
        """Return the value of `key` as given; raises InputError when it is missing and has no default."""
        if self.has(key):
            return self._given[key]
        if default is _MISSING:
            raise InputError(self.path(key), "This value is missing.", f"Give {key}.")
        return default

    def text(self, key: str, default: str | None = None) -> str:
        """Return a text that is not blank, or `default` when the key is missing."""
        given = self.any(key, _MISSING if default is None else default)
        if not isinstance(given, str) or (given is not default and not given.strip()):
            raise InputError(self.path(key), "A text is expected.", "Give it in quotation marks.")
        return given

    def choice(self, key: str, options: Iterable[str], default: str | None = None) -> str:
        """Return one of `options`; raises InputError that lists them."""
        known = list(options)
        given = self.any(key, _MISSING if default is None else default)
        if not isinstance(given, str) or given not in known:
            listed = ", ".join(option or '""' for option in known)
            raise InputError(self.path(key), f"{quoted(given)} is not known here.", f"Give one of: {listed}.")
        return given

    def choices(self, key: str, options: Iterable[str]) -> tuple[str, ...]:
        """Return a list of `options`, empty when the key is missing."""
        known = list(options)
        given = self.any(key, ())
        if not isinstance(given, list | tuple):
            raise InputError(self.path(key), "A list is expected.", "Write it in square brackets.")
        for index, item in enumerate(given):
            if not isinstance(item, str) or item not in known:
                field = f"{self.path(key)}.{index}"
                raise InputError(field, f"{quoted(item)} is not known here.", f"Give one of: {', '.join(known)}.")
        return tuple(given)

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts, empty when the key is missing."""
        given = self.any(key, ())
        if not isinstance(given, list | tuple) or not all(isinstance(item, str) for item in given):
            raise InputError(self.path(key), "A list of texts is expected.", "Write it in square brackets.")
        return tuple(given)

    def flag(self, key: str, default: bool | None = None) -> bool:
        """Return true or false."""
        given = self.any(key, _MISSING if default is None else default)
        if not isinstance(given, bool):
            raise InputError(self.path(key), "Yes or no is expected.", "Give true or false, without quotation marks.")
        return given

    def date(self, key: str) -> dt.date:
        """Return a calendar date, given as one or as ISO text."""
        given = self.any(key)
        if isinstance(given, dt.date) and not isinstance(given, dt.datetime):
            return given
        try:
            return dt.date.fromisoformat(given)
        except (TypeError, ValueError) as error:
            raise InputError(self.path(key), "A date is expected.", "Write it as 2026-03-31.") from error

    def quantity(self, key: str, dimension: Dimension) -> Quantity:
        """Return a quantity with the unit as entered."""
        return units.read(self.any(key), dimension, field=self.path(key))

    def si(self, key: str, dimension: Dimension) -> float:
        """Return a quantity as SI."""
        return self.quantity(key, dimension).si(dimension, field=self.path(key))

    def si_or_none(self, key: str, dimension: Dimension) -> float | None:
        """Return a quantity as SI, or None when it is not given."""
        return self.si(key, dimension) if self.has(key) else None

    def object(self, key: str, default: Mapping[str, Any] | None = None) -> "Fields":
        """Return the object under `key`, to be read in turn."""
        return self.nested(key, self.any(key, _MISSING if default is None else default))

    def nested(self, key: str, given: Any) -> "Fields":
        """Return `given`, standing for the object under `key`, to be read in turn."""
        child = Fields(given, self.path(key))
        self._children.append(child)
        return child

    def objects(self, key: str) -> tuple["Fields", ...]:
        """Return the list of objects under `key`, each to be read in turn; empty when missing."""
        given = self.any(key, ())
        if not isinstance(given, list | tuple):
            raise InputError(self.path(key), "A list is expected.", "Write it in square brackets.")
        found = tuple(Fields(item, f"{self.path(key)}.{index}") for index, item in enumerate(given))
        self._children.extend(found)
        return found

    def read(self, key: str, reader: Callable[[Any], T]) -> T:
        """Return what `reader` makes of `key`; its InputError is put under the key's path."""
        try:
            return reader(self.any(key))
        except InputError as error:
            raise InputError(self.path(key), error.reason, error.remedy) from error

    def close(self) -> None:
        """Refuse every key nobody asked for, here and in the objects read from here."""
        for key in self._given:
            if key not in self._asked:
                known = ", ".join(self._asked)
                raise InputError(
                    self.path(str(key)[:_LONGEST_QUOTE]),
                    f"{quoted(key)} is not known here.",
                    f"Keys read here: {known}.",
                )
        for child in self._children:
            child.close()
