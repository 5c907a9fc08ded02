"""All lines of a function test as one form: a row each, numbers in the unit of the head unless one is typed behind."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError

from accounts.presentation import unit_label
from calcs.units import ENTRY_UNITS, Dimension, System
from equipment.models import ControlItem, Measured
from equipment.web.fields import SMALL_LENGTHS, VOLUMES, QuantityFormField
from tests_app.actions.function_lines import LineFacts
from tests_app.models import ClosedOn, FunctionLine, Worked
from tests_app.queries.function_subjects import CLOSES_ON_SOMETHING
from tests_app.web.bank_test_forms import as_text
from tests_app.web.drawdown_forms import seconds_of

COUNTERS: Final = ("counter_before", "counter_between", "counter_after")
TIMES: Final = ("closing_time", "opening_time")
_VOLUMES: Final = ("closing_volume", "opening_volume", *COUNTERS)
_LENGTHS: Final = ("pipe",)
_LABELS: Final[Mapping[str, str]] = {
    "worked": "How it was worked",
    "station": "From",
    "pod": "Pod",
    "closed_on": "Closed on",
    "pipe": "Pipe",
    "closing_time": "Closing",
    "opening_time": "Opening",
    "closing_volume": "Fluid to close",
    "opening_volume": "Fluid to open",
    "completed": "Completely",
    "counter_before": "Counter before",
    "counter_between": "Counter between",
    "counter_after": "Counter after",
    "leak_seen": "A leak or defect was seen",
    "leak_description": "Where, and what",
    "remarks": "Remarks",
}
_SAID: Final = {"": None, "yes": True, "no": False}
_LONGEST: Final = 24
_WITH_UNIT: Final = re.compile(r"\s*(?P<number>[+−-]?[0-9][0-9., ]*)\s*(?P<unit>[^\s0-9][^\s]*)?\s*")


@dataclass(frozen=True)
class LineRow:
    """One line with its fields."""

    line: FunctionLine
    cells: Mapping[str, forms.BoundField]

    @property
    def said(self) -> list[forms.BoundField]:
        """Return the fields for what was seen: folded away."""
        return [self.cells[name] for name in ("leak_seen", "leak_description", "remarks")]

    @property
    def counted(self) -> list[forms.BoundField]:
        """Return the fields of the flow meter's counter: folded away."""
        return [self.cells[name] for name in COUNTERS]

    @property
    def has_more(self) -> bool:
        """Tell whether something stands, or is refused, among the fields that are folded away."""
        return any(field.value() or field.errors for field in (*self.said, *self.counted))

    def __getattr__(self, name: str) -> forms.BoundField:
        """Return a field by its name, for the template."""
        try:
            return self.cells[name]
        except KeyError as error:
            raise AttributeError(name) from error


class FunctionLinesForm(forms.Form):
    """What was seen and taken of every line."""

    version = forms.IntegerField(required=False, widget=forms.HiddenInput)
    volume_unit = forms.ChoiceField(choices=[(unit, unit) for unit in VOLUMES], widget=forms.HiddenInput)
    length_unit = forms.ChoiceField(choices=[(unit, unit) for unit in SMALL_LENGTHS], widget=forms.HiddenInput)

    def __init__(
        self,
        data: Any = None,
        *,
        lines: Sequence[FunctionLine],
        stations: Sequence[ControlItem],
        pods: Sequence[ControlItem],
        units: System,
        version: int,
    ) -> None:
        self.lines = lines
        self.stations, self.pods = stations, pods
        self.heads = {"volume_unit": _unit_of(lines, _VOLUMES, units), "length_unit": _unit_of(lines, _LENGTHS, units)}
        stands: dict[str, Any] = {"version": version, **self.heads}
        for line in lines:
            stands |= {f"{name}-{line.pk}": value for name, value in self._as_it_stands(line).items()}
        super().__init__(data, initial=stands)
        self.measured: dict[str, Measured] = {}
        for line in lines:
            self.fields |= {f"{name}-{line.pk}": field for name, field in self._fields_of(line).items()}

    def _fields_of(self, line: FunctionLine) -> dict[str, forms.Field]:
        name = str(line)
        fields: dict[str, forms.Field] = {
            "worked": _choice(name, "worked", _ways(line), required=True),
            "station": _choice(name, "station", _items(self.stations)),
            "pod": _choice(name, "pod", _items(self.pods)),
            "closed_on": _choice(name, "closed_on", [("", "–"), *ClosedOn.choices]),
            "completed": _choice(name, "completed", [("", "Not said"), ("yes", "Yes"), ("no", "No")]),
            "leak_seen": forms.BooleanField(label=_LABELS["leak_seen"], required=False),
            "leak_description": forms.CharField(label=_LABELS["leak_description"], required=False, max_length=300),
            "remarks": forms.CharField(label=_LABELS["remarks"], required=False, max_length=300),
        }
        fields |= {one: _figure(name, one) for one in (*TIMES, *_VOLUMES, *_LENGTHS)}
        if not self.pods:
            del fields["pod"]
        if line.control_item_id or line.component.kind not in CLOSES_ON_SOMETHING:  # type: ignore[union-attr]
            del fields["closed_on"], fields["pipe"]
        if line.control_item_id:
            del fields["opening_time"], fields["opening_volume"]
        return fields

    def _as_it_stands(self, line: FunctionLine) -> dict[str, Any]:
        counted = line.counter_before is not None
        values: dict[str, Any] = {
            name: getattr(line, name) for name in ("worked", "closed_on", "leak_seen", "leak_description", "remarks")
        }
        values |= {"station": line.station_id or "", "pod": line.pod_id or ""}
        values["completed"] = {None: "", True: "yes", False: "no"}[line.completed]
        values |= {name: _written(getattr(line, name), "s") for name in TIMES}
        volumes = COUNTERS if counted else _VOLUMES
        values |= {name: _written(getattr(line, name), self.heads["volume_unit"]) for name in volumes}
        values["pipe"] = _written(line.pipe, self.heads["length_unit"])
        return values

    def clean(self) -> dict[str, Any]:
        """Read each figure in its unit, each time as seconds."""
        for line in self.lines:
            for name in TIMES:
                self._clean_time(f"{name}-{line.pk}")
            for name in (*_VOLUMES, *_LENGTHS):
                length = name in _LENGTHS
                dimension = Dimension.LENGTH if length else Dimension.VOLUME
                self._clean_quantity(f"{name}-{line.pk}", dimension, "length_unit" if length else "volume_unit")
        return self.cleaned_data

    def _clean_time(self, name: str) -> None:
        typed = self.cleaned_data.get(name) or ""
        try:
            seconds = seconds_of(typed)
        except ValueError:
            self.add_error(name, f"“{typed}” is no time. Write seconds, 21 or 21.5, or 1:05.")
            return
        self.cleaned_data[name] = "" if seconds is None else f"{seconds:.6g} s"

    def _clean_quantity(self, name: str, dimension: Dimension, head: str) -> None:
        typed = self.cleaned_data.get(name) or ""
        found = _WITH_UNIT.fullmatch(typed)
        number, unit = (found["number"], found["unit"]) if found else (typed, None)
        try:
            measured = _READERS[dimension].clean([number.strip(), unit or self.head(head)])
        except ValidationError as error:
            self.add_error(name, error)
            return
        self.cleaned_data[name] = as_text(measured)

    def head(self, name: str) -> str:
        """Return the unit of a head: the one the page was written with."""
        given, offered = str(self[name].value() or ""), [value for value, _ in self.fields[name].choices]  # type: ignore[attr-defined]
        return given if given in offered else self.heads[name]

    def facts(self) -> dict[int, LineFacts]:
        """Return what was typed, by the key of the line, as the action takes it."""
        return {line.pk: self.facts_of(line) for line in self.lines}

    def facts_of(self, line: FunctionLine) -> LineFacts:
        """Return what was typed of one line."""
        given = {name: self.cleaned_data.get(f"{name}-{line.pk}") for name in _LABELS}
        texts = {name: given[name] or "" for name in (*TIMES, *_VOLUMES, *_LENGTHS, "leak_description", "remarks")}
        return LineFacts(
            **texts,
            worked=given["worked"] or line.worked,
            station=_chosen(self.stations, given["station"]),
            pod=_chosen(self.pods, given["pod"]),
            closed_on=given["closed_on"] or "",
            completed=_SAID.get(given["completed"] or ""),
            leak_seen=bool(given["leak_seen"]),
        )

    def rows(self) -> list[LineRow]:
        """Return the rows for the page."""
        return [
            LineRow(line, {name: self[full] for name in _LABELS if (full := f"{name}-{line.pk}") in self.fields})
            for line in self.lines
        ]


_READERS: Final = {
    Dimension.VOLUME: QuantityFormField(Dimension.VOLUME, ENTRY_UNITS[Dimension.VOLUME], required=False),
    Dimension.LENGTH: QuantityFormField(Dimension.LENGTH, SMALL_LENGTHS, required=False),
}


def _ways(line: FunctionLine) -> list[tuple[str, str]]:
    if line.control_item_id:
        return [(Worked.SEQUENCE.value, str(Worked.SEQUENCE.label))]
    return [(value, label) for value, label in Worked.choices if value != Worked.SEQUENCE]


def _items(items: Sequence[ControlItem]) -> list[tuple[Any, str]]:
    return [("", "Not stated"), *((item.pk, item.name) for item in items)]


def _chosen(items: Sequence[ControlItem], key: Any) -> ControlItem | None:
    return next((item for item in items if str(item.pk) == str(key)), None)


def _choice(line: str, name: str, choices: Sequence[Any], *, required: bool = False) -> forms.ChoiceField:
    widget = forms.Select({"aria-label": f"{line}: {_LABELS[name].lower()}"})
    return forms.ChoiceField(label=_LABELS[name], choices=choices, required=required, widget=widget)


def _figure(line: str, name: str) -> forms.CharField:
    attributes = {"inputmode": "decimal", "autocomplete": "off", "class": "reading"}
    widget = forms.TextInput({**attributes, "aria-label": f"{line}: {_LABELS[name].lower()}"})
    return forms.CharField(label=_LABELS[name], required=False, max_length=_LONGEST, widget=widget)


def _written(measured: Measured | None, unit: str) -> str:
    if measured is None:
        return ""
    return measured.text if measured.unit == unit else f"{measured.text} {unit_label(measured.unit)}"


def _unit_of(lines: Sequence[FunctionLine], names: Sequence[str], units: System) -> str:
    """Return the unit figures are typed in: the one the first was written in, else the reader's own."""
    offered = SMALL_LENGTHS if names is _LENGTHS else VOLUMES
    found = (getattr(line, name) for line in lines for name in names)
    usual = offered[1] if units == "si" else offered[0]
    return next((one.unit for one in found if one is not None and one.unit in offered), usual)
