"""The functions of a drawdown as forms: what each takes, and what was read after it."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, cast

from django import forms
from django.core.exceptions import ValidationError

from accounts.presentation import unit_label
from calcs.units import DISPLAY_UNITS, ENTRY_UNITS, Dimension, System
from equipment.models import Measured, Position
from equipment.queries.stacks import Standing
from equipment.web.fields import VOLUMES, QuantityFormField
from tests_app.actions.drawdown_functions import LONGEST_FUNCTION_S, FunctionFacts, FunctionReading
from tests_app.models import DrawdownFunction, Movement, VolumeFrom
from tests_app.queries.drawdowns import Reading
from tests_app.web.bank_test_forms import as_text

PRESSURES: Final = ("pressure_at_once", "pressure_settled")
PARTS: Final = ("seconds", *PRESSURES)
_LABELS: Final = {"seconds": "Time, s", "pressure_at_once": "At once", "pressure_settled": "After the wait"}
_WITH_UNIT: Final = re.compile(r"(?P<number>[^A-Za-z]*?)\s*(?P<unit>[A-Za-z][A-Za-z/^0-9]*)?")
_LONGEST: Final = 32
_UNITS: Final = [(unit, unit) for unit in ENTRY_UNITS[Dimension.PRESSURE]]


class FunctionForm(forms.Form):
    """One function. Left empty, its name and volume come from what stands in the position."""

    position = forms.TypedChoiceField(
        label="What is worked",
        coerce=int,
        required=False,
        empty_value=None,
        help_text="As it stood when the test began.",
    )
    movement = forms.ChoiceField(label="Movement", choices=Movement.choices)
    name = forms.CharField(
        label="Name", max_length=80, required=False, help_text="Left empty, it is named after what is worked."
    )
    volume_from = forms.ChoiceField(label="Its volume is", choices=VolumeFrom.choices)
    volume = QuantityFormField(
        Dimension.VOLUME,
        VOLUMES,
        label="Fluid taken",
        required=False,
        help_text="Leave empty where it is the one on file.",
    )
    minimum_pressure = QuantityFormField(
        Dimension.PRESSURE,
        label="Bank must still stand at, after it",
        required=False,
        help_text="Where a rule or a maker asks for it of this function.",
    )
    remarks = forms.CharField(
        label="Remarks",
        max_length=300,
        required=False,
        help_text="Why it was not worked or not read, where that is so.",
    )

    def __init__(self, data: Any = None, *, standings: Sequence[Standing], units: System, **options: Any) -> None:
        super().__init__(data, **options)
        self.positions = {one.position.pk: one.position for one in standings if one.component is not None}
        offered = [
            ("", "Nothing on file: named by hand"),
            *((one.position.pk, _standing_label(one)) for one in standings),
        ]
        cast(forms.ChoiceField, self.fields["position"]).choices = offered
        for field in self.fields.values():
            if isinstance(field, QuantityFormField):
                field.prefer(units)

    def facts(self) -> FunctionFacts:
        """Return the function as the action takes it."""
        given = self.cleaned_data
        position: Position | None = self.positions.get(given["position"])
        typed = given["name"].strip()
        return FunctionFacts(
            name=typed or (f"{position.name}, {given['movement']}"[:80] if position else ""),
            movement=given["movement"],
            position=position,
            volume=as_text(given["volume"]),
            volume_from=given["volume_from"],
            minimum_pressure=as_text(given["minimum_pressure"]),
            remarks=given["remarks"],
        )


def function_as_it_stands(function: DrawdownFunction) -> dict[str, Any]:
    """Return a function as its form takes it; a volume on file is not repeated."""
    from_file = function.volume_from == VolumeFrom.COMPONENT
    return {
        "name": function.name,
        "movement": function.movement,
        "position": function.position_id,
        "volume": None if from_file else function.volume,
        "volume_from": function.volume_from,
        "minimum_pressure": function.minimum_pressure,
        "remarks": function.remarks,
    }


def workable(standings: Sequence[Standing]) -> list[Standing]:
    """Return the places where something stands that takes fluid to move."""
    found = [one for one in standings if one.component is not None]
    return [one for one in found if one.component and (one.component.closing_volume or one.component.opening_volume)]


def _standing_label(standing: Standing) -> str:
    component = standing.component
    assert component is not None
    takes = [
        f"{word} with {volume.text} {unit_label(volume.unit)}"
        for word, volume in (("closes", component.closing_volume), ("opens", component.opening_volume))
        if volume is not None
    ]
    return f"{standing.position.name}, {component.serial}: {', '.join(takes)}"


class ReadingsForm(forms.Form):
    """What was read of every function, a row each. Numbers are of the unit in the head unless one is typed behind."""

    unit = forms.ChoiceField(
        choices=[(unit, unit) for unit in ENTRY_UNITS[Dimension.PRESSURE]], widget=forms.HiddenInput
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(
        self, data: Any = None, *, functions: Sequence[DrawdownFunction], unit: str, version: int, settled: bool
    ) -> None:
        stands: dict[str, Any] = {"unit": unit, "version": version}
        for one in functions:
            stands |= {f"{part}-{one.order}": _written(getattr(one, part), unit) for part in PARTS}
        super().__init__(data, initial=stands)
        self.functions = functions
        self.settled = settled
        self.measured: dict[str, Measured] = {}
        for one in functions:
            self.fields |= {f"{part}-{one.order}": _reading_field(part, one) for part in PARTS}

    @property
    def unit_typed(self) -> str:
        """Return the unit of the head: the one the page was written with."""
        given = str(self["unit"].value() or "")
        return given if given in ENTRY_UNITS[Dimension.PRESSURE] else str(self.initial["unit"])

    def clean(self) -> dict[str, Any]:
        """Read each pressure in its unit, each time as seconds."""
        for one in self.functions:
            for part in PRESSURES:
                self._clean_pressure(f"{part}-{one.order}")
            self._clean_seconds(f"seconds-{one.order}")
        return self.cleaned_data

    def _clean_pressure(self, name: str) -> None:
        typed = self.cleaned_data.get(name, "")
        found = _WITH_UNIT.fullmatch(typed)
        number, unit = (found["number"], found["unit"]) if found else (typed, None)
        try:
            measured = _PRESSURE.clean([number.strip(), unit or self.unit_typed])
        except ValidationError as error:
            self.add_error(name, error)
            return
        if measured is not None:
            self.measured[name] = measured

    def _clean_seconds(self, name: str) -> None:
        typed = self.cleaned_data.get(name, "")
        try:
            self.cleaned_data[name] = seconds_of(typed)
        except ValueError:
            self.add_error(name, f"“{typed}” is no number of seconds. Write it as 21 or 21.5.")

    def readings(self) -> dict[int, FunctionReading]:
        """Return what was typed, by the order of the function, as the action takes it."""
        return {one.order: self._reading(one.order) for one in self.functions}

    def _reading(self, order: int) -> FunctionReading:
        seconds = self.cleaned_data.get(f"seconds-{order}")
        texts = {part: as_text(self.measured.get(f"{part}-{order}")) for part in PRESSURES}
        return FunctionReading(seconds="" if seconds is None else f"{seconds:g}", **texts)

    def changed_readings(self) -> list[str]:
        """Return the names of the fields that hold something else than what is on file."""
        return [name for name in self.changed_data if name not in ("unit", "version")]

    def supposed(self) -> dict[int, Reading]:
        """Return what could be read of the form, for a comparison before anything is saved."""
        return {one.order: self._supposed(one.order) for one in self.functions}

    def _supposed(self, order: int) -> Reading:
        at_once, settled = (self.measured.get(f"{part}-{order}") for part in PRESSURES)
        seconds = self.cleaned_data.get(f"seconds-{order}")
        sound = isinstance(seconds, float) and 0 < seconds <= LONGEST_FUNCTION_S
        return Reading(_si(at_once), _si(settled), seconds if sound else None)

    def rows(self) -> list["ReadingRow"]:
        """Return the rows for the page."""
        return [ReadingRow(one, {part: self[f"{part}-{one.order}"] for part in PARTS}) for one in self.functions]


@dataclass(frozen=True)
class ReadingRow:
    """One function with its three fields."""

    function: DrawdownFunction
    cells: Mapping[str, forms.BoundField]

    @property
    def fields(self) -> list[forms.BoundField]:
        """Return the fields in the order they are filled in."""
        return list(self.cells.values())


_PRESSURE: Final = QuantityFormField(Dimension.PRESSURE, required=False)


def unit_for(record: Any, units: System) -> str:
    """Return the unit pressures of a test are typed in: the one its start was written in, else the reader's own."""
    start = record.drawdown_test.start_pressure
    return str(start.unit) if start is not None else DISPLAY_UNITS[units][Dimension.PRESSURE]


def seconds_of(typed: str) -> float | None:
    """Return seconds as typed, ``21``, ``21.5 s`` or ``1:05``; None for nothing. Raises ValueError."""
    plain = typed.strip().removesuffix("s").strip().replace(",", ".")
    if not plain:
        return None
    minutes, colon, rest = plain.rpartition(":")
    seconds = float(rest) + (60 * int(minutes) if colon else 0)
    if not 0 <= seconds < float("inf"):
        raise ValueError(typed)
    return seconds


def _reading_field(part: str, function: DrawdownFunction) -> forms.Field:
    attributes = {"inputmode": "decimal", "autocomplete": "off", "maxlength": _LONGEST, "class": "reading"}
    return forms.CharField(
        label=_LABELS[part],
        required=False,
        max_length=_LONGEST,
        widget=forms.TextInput({**attributes, "aria-label": f"{function.name}: {_LABELS[part].lower()}"}),
    )


def _written(value: Any, unit: str) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:g}"
    return str(value.text) if value.unit == unit else f"{value.text} {value.unit}"


def _si(measured: Measured | None) -> float | None:
    return None if measured is None or measured.si < 0 else float(measured.si)
