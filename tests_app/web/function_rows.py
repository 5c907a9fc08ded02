"""The functions of a sequence as rows of a form: name, closing volume, least pressure."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Final

from django import forms

from calcs.units import Dimension
from equipment.web.fields import VOLUMES, QuantityFormField

FEWEST_ROWS: Final = 4
SPARE_ROWS: Final = 2
MOST_ROWS: Final = 40
_PARTS: Final = ("function", "volume", "least")


@dataclass(frozen=True)
class FunctionRow:
    """One row as the page shows it: its number and its three fields."""

    number: int
    fields: tuple[forms.BoundField, ...]


class FunctionRows(forms.Form):
    """A form with rows of functions; two more rows than are filled in are offered, forty at most."""

    def __init__(self, given: Mapping[str, Any] | None = None, files: Any = None, **options: Any) -> None:
        super().__init__(given, files, **options)
        self.row_numbers = range(1, min(MOST_ROWS, max(FEWEST_ROWS, last_row(given or {}) + SPARE_ROWS)) + 1)
        for number in self.row_numbers:
            self.fields |= _row_fields(number)
        self.apart: Collection[str] = [f"{part}_{number}" for number in self.row_numbers for part in _PARTS]

    def function_rows(self) -> list[FunctionRow]:
        """Return the rows for the page."""
        return [FunctionRow(n, tuple(self[f"{part}_{n}"] for part in _PARTS)) for n in self.row_numbers]

    def check_rows(self) -> None:
        """Refuse a row with a name or a pressure but no volume, beside what is missing."""
        for number in self.row_numbers:
            name, volume, least = self._row(number)
            if volume is None and (name or least is not None) and not self.has_error(f"volume_{number}"):
                self.add_error(f"volume_{number}", "The closing volume is missing. Give it, or empty the row.")

    def functions(self) -> list[tuple[int, dict[str, str]]]:
        """Return the functions given, each with the number of its row, as a document writes them."""
        found = []
        for number in self.row_numbers:
            name, volume, least = self._row(number)
            if volume is not None:
                one = {"name": name or f"Function {number}", "volume": f"{volume.text} {volume.unit}"}
                found.append(
                    (number, one if least is None else one | {"minimum_pressure": f"{least.text} {least.unit}"})
                )
        return found

    def row_places(self) -> dict[str, str]:
        """Return the field of the form for each path of the document's functions, and for the list as a whole."""
        found = {"functions": "volume_1"}
        for index, (number, _) in enumerate(self.functions()):
            found |= {
                f"functions.{index}.name": f"function_{number}",
                f"functions.{index}.volume": f"volume_{number}",
                f"functions.{index}.minimum_pressure": f"least_{number}",
            }
        return found

    def _row(self, number: int) -> tuple[Any, Any, Any]:
        name, volume, least = (self.cleaned_data.get(f"{part}_{number}") for part in _PARTS)
        return name, volume, least


def last_row(given: Mapping[str, Any]) -> int:
    """Return the number of the last row with something in it."""
    numbers = [0]
    for key in given:
        part, _, rest = str(key).partition("_")
        number = rest.partition("_")[0]
        if part in _PARTS and number.isdecimal() and len(number) <= 2 and not key.endswith("_unit") and given[key]:
            numbers.append(int(number))
    return max(numbers)


def _row_fields(number: int) -> dict[str, forms.Field]:
    return {
        f"function_{number}": forms.CharField(label=f"Name of function {number}", required=False, max_length=60),
        f"volume_{number}": QuantityFormField(
            Dimension.VOLUME, VOLUMES, label=f"Closing volume of function {number}", required=False, positive=True
        ),
        f"least_{number}": QuantityFormField(
            Dimension.PRESSURE, label=f"Least pressure of function {number}", required=False
        ),
    }
