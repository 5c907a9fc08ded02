"""Form fields of the trade: a number with its unit, and a moment on the rig's clock."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError

from accounts.presentation import unit_label
from calcs.errors import InputError
from calcs.units import ENTRY_UNITS, Dimension, Quantity, System
from equipment.models import Measured

SMALL_LENGTHS: Final = ("in", "mm")
"""Units of bores and pipe sizes."""
DEPTHS: Final = ("ft", "m")
"""Units of depths."""
VOLUMES: Final = ("gal", "L", "oil_bbl")
"""Units of closing and opening volumes."""

_METRIC: Final = frozenset(
    {"kPa", "MPa", "bar", "kPa/m", "SG", "kg/m^3", "m", "mm", "L", "m^3", "degC", "K", "kN", "cm^2"}
)
_LONGEST_NUMBER: Final = 32
_EXAMPLES: Final = {
    Dimension.PRESSURE: "10000",
    Dimension.PRESSURE_GRADIENT: "0.465",
    Dimension.DENSITY: "10.5",
    Dimension.VOLUME: "12.5",
}


class QuantityWidget(forms.MultiWidget):
    """A number and its unit in one row; what was typed comes back as typed."""

    template_name = "widgets/quantity.html"

    def __init__(self, units: Sequence[str], attrs: dict[str, Any] | None = None) -> None:
        self.units = tuple(units)
        number = forms.TextInput({"inputmode": "decimal", "autocomplete": "off", "maxlength": _LONGEST_NUMBER})
        super().__init__({"number": number, "unit": forms.Select(choices=_choices(self.units))}, attrs)

    @property
    def _unit_select(self) -> forms.Select:
        # Found anew each time: a form deep-copies its widgets, and a kept reference would be the first form's.
        select = self.widgets[1]
        assert isinstance(select, forms.Select)
        return select

    def decompress(self, value: Any) -> list[Any]:
        """Split what the row holds; a unit the form does not offer is offered for this one."""
        if isinstance(value, str):
            text, _, unit = value.partition(" ")
        elif isinstance(value, Measured):
            text, unit = value.text, value.unit
        elif isinstance(value, Quantity):
            text, unit = f"{value.value:.12g}", value.unit
        else:
            text, unit = "", ""
        if unit and unit not in self.units:
            self._unit_select.choices = _choices((*self.units, unit))
        return [text, unit or self.units[0]]

    def prefer(self, units: Iterable[str]) -> None:
        """Offer the units in this order; the first is chosen unless the row holds another."""
        self.units = tuple(units)
        self._unit_select.choices = _choices(self.units)

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Name the two inputs for a screen reader; only the number can be at fault or required."""
        context = super().get_context(name, value, attrs)
        number, unit = context["widget"]["subwidgets"]
        number["attrs"]["aria-label"] = "Number"
        unit["attrs"]["aria-label"] = "Unit"
        unit["attrs"].pop("aria-invalid", None)
        return context


class QuantityFormField(forms.MultiValueField):
    """A quantity typed as a number and a unit; cleans to a `Measured` that keeps the digits as typed, or None.

    Args:
        dimension: what is measured.
        units: units offered, the usual one first; all that `calcs.units` knows for entry unless given.
        positive: refuse zero and less.
    """

    widget: QuantityWidget

    def __init__(
        self, dimension: Dimension, units: Sequence[str] = (), *, positive: bool = False, **options: Any
    ) -> None:
        self.dimension = dimension
        self.units = tuple(units) or ENTRY_UNITS[dimension]
        self.positive = positive
        options.setdefault("widget", QuantityWidget(self.units))
        parts = (
            forms.CharField(required=False, max_length=_LONGEST_NUMBER),
            forms.CharField(required=False, max_length=16),
        )
        super().__init__(parts, require_all_fields=False, **options)

    def prefer(self, system: System) -> None:
        """Offer the units of `system` first, so that a metric rig finds kPa where another finds psi."""
        metric = system == "si"
        self.units = tuple(sorted(self.units, key=lambda unit: (unit in _METRIC) is not metric))
        self.widget.prefer(self.units)

    def clean(self, value: Any) -> Measured | None:
        """Return the quantity; raises ValidationError with the remedy."""
        if isinstance(value, Measured) or value is None:
            return self._checked(value)
        number, unit = ([*value, "", ""])[:2] if isinstance(value, list | tuple) else (str(value), "")
        number, unit = str(number or "").strip(), str(unit or "").strip()
        if not number:
            return self._checked(None)
        if len(number) > _LONGEST_NUMBER:
            raise ValidationError(f"This number is longer than {_LONGEST_NUMBER} characters. Round it.", code="invalid")
        return self._checked(self._read(number, unit))

    def _read(self, number: str, unit: str) -> Measured:
        plain = number.replace(" ", "").replace("\u202f", "").replace("\u2212", "-")
        _refuse_decimal_comma(plain)
        if plain.lower().strip("+-") in {"nan", "inf", "infinity"}:
            raise ValidationError(self._not_a_number(number), code="invalid")
        try:
            return Measured.of(f"{plain} {unit}".strip(), self.dimension, field="value")
        except InputError as error:
            reason = error.reason.lower()
            text = self._not_a_number(number) if "not a number" in reason else str(error)
            raise ValidationError(text, code="invalid") from error

    def _not_a_number(self, given: str) -> str:
        return f"“{given}” is not a number. Write digits with a decimal point, such as {self._example}."

    @property
    def _example(self) -> str:
        return _EXAMPLES.get(self.dimension, "100")

    def _checked(self, measured: Measured | None) -> Measured | None:
        if measured is None and self.required:
            raise ValidationError(f"Give a number and its unit, such as {self._example}.", code="required")
        if measured is not None and self.positive and measured.si <= 0:
            raise ValidationError("This is over zero. Check the figure.", code="invalid")
        if measured is not None:
            self.run_validators(measured)
        return measured

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Tell whether the number or its unit differ from what the row held."""
        before = self.widget.decompress(initial)
        after = [*data, "", ""][:2] if isinstance(data, list | tuple) else ["", ""]
        empty = not before[0] and not after[0]
        return not empty and [str(part or "") for part in before] != [str(part or "") for part in after]


class RigTimeField(forms.DateTimeField):
    """A moment typed on the rig's clock; cleans to an aware moment in the rig's zone.

    A clock time that daylight saving shows twice is read as the earlier one. One that never comes is refused.
    """

    default_error_messages = {
        "invalid": "This is not a date and time. Write it as 2026-03-31 14:00.",
        "skipped": "The clocks of %(zone)s go forward over this time, so it never came. Give the time as the clock "
        "showed it.",
    }
    _FORMAT: Final = "%Y-%m-%dT%H:%M"

    def __init__(self, zone: ZoneInfo, **options: Any) -> None:
        self.zone = zone
        attributes = {"type": "datetime-local", "class": "medium"}
        options.setdefault("widget", forms.DateTimeInput(attrs=attributes, format=self._FORMAT))
        super().__init__(**options)

    def to_python(self, value: Any) -> datetime | None:
        """Return the aware moment in the rig's zone."""
        if value in self.empty_values:
            return None
        try:
            wall = value if isinstance(value, datetime) else datetime.fromisoformat(str(value).strip())
            return wall.astimezone(self.zone) if wall.tzinfo else self._on_the_clock(wall)
        except (ValueError, OverflowError) as error:
            raise ValidationError(self.error_messages["invalid"], code="invalid") from error

    def _on_the_clock(self, wall: datetime) -> datetime:
        moment = wall.replace(tzinfo=self.zone, fold=0)
        if moment.astimezone(UTC).astimezone(self.zone).replace(tzinfo=None, fold=0) != wall:
            raise ValidationError(self.error_messages["skipped"], code="skipped", params={"zone": self.zone.key})
        return moment

    def prepare_value(self, value: Any) -> Any:
        """Return the moment as the rig's clock shows it, for the input."""
        if isinstance(value, datetime) and value.tzinfo is not None:
            return value.astimezone(self.zone).strftime(self._FORMAT)
        return value


def day_input() -> forms.DateInput:
    """Return the input of a calendar day."""
    return forms.DateInput({"type": "date", "class": "short"}, format="%Y-%m-%d")


def _choices(units: Iterable[str]) -> list[tuple[str, str]]:
    return [(unit, unit_label(unit)) for unit in units]


def _refuse_decimal_comma(number: str) -> None:
    """Refuse ``6,85``: as a thousands mark it would become 685 without a word."""
    whole, *groups = number.split(".")[0].lstrip("+-").split(",")
    if groups and (not 1 <= len(whole) <= 3 or any(len(group) != 3 for group in groups)):
        raise ValidationError(
            f"“{number}” can be read two ways. Write a point before decimals and no comma, such as 6.85.",
            code="invalid",
        )
