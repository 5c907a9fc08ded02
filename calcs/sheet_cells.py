"""Cells of a sheet as text: written so that no spreadsheet runs one as a formula, and read back to what was written.

A cell is read as the column asks (a quantity, a day, a moment, yes or no); what can be read two ways is refused.
"""

import datetime as dt
import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Final
from zoneinfo import ZoneInfo

from calcs.errors import InputError
from calcs.units import Dimension, read

_RUNS: Final = re.compile(r"'*[=+\-@\t\r]")
"""What a spreadsheet may run, and the same with our own mark in front, however often."""
_CONTROL: Final = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_NUMBER: Final = re.compile(r"\d+(\.\d+)?|\.\d+")
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
_MIDNIGHT: Final = re.compile(r"[ T]00:00(:00(\.0+)?)?$")
_YES: Final = frozenset({"yes", "y", "true", "1"})
_NO: Final = frozenset({"no", "n", "false", "0"})


def written(text: str) -> str:
    """Return a cell that no spreadsheet runs; `as_written` gives the text back.

    >>> written("=1+1"), written("'-4"), written("-4"), written("PR-4471")
    ("'=1+1", "''-4", "'-4", 'PR-4471')
    """
    return f"'{text}" if _RUNS.match(text) else text


def as_written(cell: str) -> str:
    """Return the text a cell was written from.

    >>> as_written("'=1+1"), as_written("'tis"), as_written("PR-4471")
    ('=1+1', "'tis", 'PR-4471')
    """
    return cell[1:] if cell.startswith("'") and _RUNS.match(cell) else cell


def plain(text: str) -> str:
    """Return a text as every kind of sheet can hold it: one kind of line end, no control characters or outer blanks."""
    return _CONTROL.sub("", text.replace("\r\n", "\n").replace("\r", "\n")).strip()


@dataclass(frozen=True, slots=True)
class Amount:
    """A number with its unit, as written."""

    number: str
    unit: str

    def __str__(self) -> str:
        """Return both, as `equipment` reads a quantity."""
        return f"{self.number} {self.unit}"

    @property
    def same(self) -> tuple[Decimal, str]:
        """Return what two that mean the same have in common: a spreadsheet drops the zeros at the end."""
        return Decimal(self.number).normalize(), self.unit


def read_amount(number: str, unit: str, dimension: Dimension, *, field: str) -> Amount | None:
    """Read a quantity written in two cells; None where both are empty.

    >>> str(read_amount("10000.50", "psi", Dimension.PRESSURE, field="rwp"))
    '10000.50 psi'
    """
    if not number:
        if unit:
            raise InputError(field, f"There is a unit, {unit}, but no number.", "Give the number, or empty both cells.")
        return None
    digits = _digits(number, field)
    if not unit:
        raise InputError(field, f"{number} has no unit.", "Give its unit in the column beside it; none is guessed.")
    read(f"{digits} {unit}", dimension, field=field)
    return Amount(digits, unit)


def read_number(cell: str, *, field: str) -> Decimal | None:
    """Read a plain number; None where the cell is empty."""
    return Decimal(_digits(cell, field)) if cell else None


def _digits(cell: str, field: str) -> str:
    if "," in cell:
        raise InputError(
            field,
            f"“{cell}” can be read two ways.",
            "Write a point before decimals and no comma, such as 6.85 or 10000.",
        )
    if not _NUMBER.fullmatch(cell):
        raise InputError(field, f"“{cell}” is not a number.", "Write digits with a decimal point, such as 10000.")
    try:
        return str(Decimal(cell)) if cell.startswith(".") else cell
    except InvalidOperation as error:  # pragma: no cover - the pattern lets none through
        raise InputError(field, f"“{cell}” is not a number.", "Write digits with a decimal point.") from error


def read_yes_no(cell: str, *, field: str) -> bool | None:
    """Read yes or no; None where the cell is empty."""
    if not cell:
        return None
    if cell.lower() in _YES | _NO:
        return cell.lower() in _YES
    raise InputError(field, f"“{cell}” is neither yes nor no.", "Write yes or no.")


def read_day(cell: str, *, field: str) -> dt.date | None:
    """Read a calendar day; None where the cell is empty.

    >>> read_day("2026-03-31 00:00:00", field="day")
    datetime.date(2026, 3, 31)
    """
    if not cell:
        return None
    day = _MIDNIGHT.sub("", cell)
    try:
        if not _DAY.fullmatch(day):
            raise ValueError(day)
        return dt.date.fromisoformat(day)
    except ValueError as error:
        raise InputError(
            field, f"“{cell}” is not a day that can be read one way only.", "Write it as 2026-03-31."
        ) from error


def read_moment(cell: str, zone: ZoneInfo, *, field: str) -> dt.datetime | None:
    """Read a moment; without an offset it is on the clock of `zone`. None where the cell is empty.

    A clock time that comes twice or never when the clocks change is refused: which was meant nobody can tell.
    """
    if not cell:
        return None
    try:
        if not _DAY.match(cell) or len(cell) <= len("2026-03-31"):
            raise ValueError(cell)
        found = dt.datetime.fromisoformat(cell)
    except ValueError as error:
        raise InputError(
            field,
            f"“{cell}” is not a date and time that can be read one way only.",
            "Write it as 2026-03-31 14:00 on the rig's clock, or with its offset, 2026-03-31 14:00-05:00.",
        ) from error
    try:
        return found.astimezone(dt.UTC) if found.tzinfo else _on_the_clock(found, zone, field)
    except OverflowError as error:
        raise InputError(field, f"“{cell}” lies outside the calendar.", "Check the year.") from error


def _on_the_clock(wall: dt.datetime, zone: ZoneInfo, field: str) -> dt.datetime:
    early, late = (wall.replace(tzinfo=zone, fold=fold).astimezone(dt.UTC) for fold in (0, 1))
    if early != late:
        raise InputError(
            field,
            f"{wall:%Y-%m-%d %H:%M} comes twice or never: the clocks of {zone.key} change then.",
            "Write the time with its offset, such as 2026-11-01 01:30-05:00.",
        )
    return early


def moment_cell(moment: dt.datetime, zone: ZoneInfo) -> str:
    """Return a moment on the clock of `zone` with its offset, to the second or below only where it has them.

    >>> moment_cell(dt.datetime(2026, 3, 31, 19, tzinfo=dt.UTC), ZoneInfo("America/Chicago"))
    '2026-03-31 14:00-05:00'
    """
    local = moment.astimezone(zone)
    fine = local.second or local.microsecond
    return local.isoformat(sep=" ", timespec="auto" if fine else "minutes")
