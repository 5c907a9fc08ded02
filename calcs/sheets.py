"""The columns of a sheet that is brought in and given out: what each holds, and how a row is read, written, compared.

A row read is a mapping from a column's key to its value: text, key of a choice, `Amount`, Decimal, bool, date or
moment; None for an empty cell. A column the file does not have is not in the mapping, and is not compared.
"""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any, Final
from zoneinfo import ZoneInfo

from calcs.errors import InputError
from calcs.sheet_cells import (
    Amount,
    as_written,
    moment_cell,
    plain,
    read_amount,
    read_day,
    read_moment,
    read_number,
    read_yes_no,
    written,
)
from calcs.units import Dimension

Values = Mapping[str, Any]
_UNIT: Final = ", unit"


class Holds(StrEnum):
    """What the cells of a column hold."""

    TEXT = "text"
    CHOICE = "choice"
    AMOUNT = "amount"
    NUMBER = "number"
    YES_NO = "yes-no"
    DAY = "day"
    MOMENT = "moment"


@dataclass(frozen=True)
class Column:
    """One column; an amount takes two of the file, its number and its unit.

    Attributes:
        key: name of the value, as actions and refusals name it.
        head: what stands in the first line of the file.
        holds: what its cells hold.
        example: a cell, for the template.
        required: whether no cell may be empty.
        choices: of a choice, the words by key.
        dimension: of an amount.
        words: what belongs in it, where the head does not say.
    """

    key: str
    head: str
    holds: Holds = Holds.TEXT
    example: str = ""
    required: bool = False
    choices: Mapping[str, str] | None = None
    dimension: Dimension | None = None
    words: str = ""

    @property
    def heads(self) -> tuple[str, ...]:
        """Return the heads of its columns in the file."""
        return (self.head, f"{self.head}{_UNIT}") if self.holds is Holds.AMOUNT else (self.head,)

    def read(self, cells: Mapping[str, str], zone: ZoneInfo) -> Any:
        """Return the value of a row; raises InputError naming the key."""
        first, *more = (plain(as_written(cells.get(head, ""))) for head in self.heads)
        value = self._value(first, more[0] if more else "", zone)
        if self.required and value in (None, ""):
            raise InputError(self.key, f"“{self.head}” is empty.", f"Give it, such as {self.example}.")
        return value

    def _value(self, cell: str, unit: str, zone: ZoneInfo) -> Any:
        match self.holds:
            case Holds.AMOUNT:
                assert self.dimension is not None
                return read_amount(cell, unit, self.dimension, field=self.key)
            case Holds.NUMBER:
                return read_number(cell, field=self.key)
            case Holds.YES_NO:
                return read_yes_no(cell, field=self.key)
            case Holds.DAY:
                return read_day(cell, field=self.key)
            case Holds.MOMENT:
                return read_moment(cell, zone, field=self.key)
            case Holds.CHOICE:
                return self._chosen(cell)
        return cell

    def _chosen(self, cell: str) -> str:
        assert self.choices is not None
        for key, words in self.choices.items():
            if cell.lower() in (key.lower(), words.lower()):
                return key
        if not cell:
            return ""
        raise InputError(self.key, f"“{cell}” is none of the words known.", f"Write one of: {_listed(self.choices)}.")

    def write(self, value: Any, zone: ZoneInfo) -> tuple[str, ...]:
        """Return the cells of a value, one for each head."""
        if self.holds is Holds.AMOUNT:
            return (value.number, value.unit) if isinstance(value, Amount) else ("", "")
        return (written(plain(self._text(value, zone))),)

    def _text(self, value: Any, zone: ZoneInfo) -> str:
        match value:
            case None:
                return ""
            case bool():
                return "yes" if value else "no"
            case dt.datetime():
                return moment_cell(value, zone)
            case Decimal():
                return f"{value.normalize():f}"
        if self.choices is not None:
            return self.choices.get(str(value), str(value))
        return str(value)

    def alike(self, one: Any, other: Any, zone: ZoneInfo) -> bool:
        """Tell whether two values mean the same; an empty yes or no is a no."""
        if isinstance(one, Amount) and isinstance(other, Amount):
            return one.same == other.same
        if self.holds is Holds.YES_NO:
            return bool(one) is bool(other)
        return self.write(one, zone) == self.write(other, zone)


def _listed(choices: Mapping[str, str]) -> str:
    return ", ".join(choices.values())


@dataclass(frozen=True)
class SheetForm:
    """A kind of sheet: its columns, in the order they are given out."""

    columns: tuple[Column, ...]

    @property
    def heads(self) -> list[str]:
        """Return every head of the file."""
        return [head for column in self.columns for head in column.heads]

    def check_heads(self, given: Sequence[str]) -> None:
        """Raise InputError for heads that are missing, unknown or there twice: nothing is passed over in silence."""
        doubled = sorted({head for head in given if given.count(head) > 1})
        if doubled:
            raise InputError("file", f"The column “{doubled[0]}” is there twice.", "Take one of the two out.")
        unknown = [head for head in given if head not in self.heads]
        if unknown:
            raise InputError(
                "file",
                f"The column “{unknown[0]}” is not known.",
                "Take it out, or name it as the template does.",
            )
        missing = [head for column in self.columns if column.required for head in column.heads if head not in given]
        missing += [
            head
            for column in self.columns
            if any(head in given for head in column.heads)
            for head in column.heads
            if head not in given and head not in missing
        ]
        if missing:
            raise InputError(
                "file",
                f"The column “{missing[0]}” is missing.",
                "Start from the template: the first line holds the names of the columns.",
            )

    def read(self, cells: Mapping[str, str], zone: ZoneInfo) -> dict[str, Any]:
        """Return the values of one row; raises InputError for the first that can't be read."""
        return {column.key: column.read(cells, zone) for column in self.columns if column.head in cells}

    def write(self, values: Values, zone: ZoneInfo) -> list[str]:
        """Return the cells of one row."""
        return [cell for column in self.columns for cell in column.write(values.get(column.key), zone)]

    def differing(self, given: Values, on_file: Values, zone: ZoneInfo) -> Iterator[tuple[Column, str, str]]:
        """Yield each column in which a row of the file differs from what is on file, with both as written."""
        for column in self.columns:
            if column.key not in given:
                continue
            new, old = given[column.key], on_file.get(column.key)
            if not column.alike(new, old, zone):
                yield column, " ".join(column.write(new, zone)).strip(), " ".join(column.write(old, zone)).strip()
