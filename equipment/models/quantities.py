"""A quantity on a model: the number and unit as entered, and an SI column to sort and compute by."""

from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models

from calcs.errors import InputError
from calcs.units import Dimension, Quantity, System, from_si, read, shown


@dataclass(frozen=True, slots=True)
class Measured:
    """A quantity as written on the record: its digits are kept, never rounded.

    Attributes:
        text: the number as entered, a decimal point and no grouping.
        unit: its unit.
        si: the same in the SI unit of its dimension; pressures gauge.
    """

    text: str
    unit: str
    si: float

    @classmethod
    def of(cls, given: "Measured | Quantity | str", dimension: Dimension, *, field: str) -> "Measured":
        """Read a quantity as people write it; raises InputError naming `field`."""
        if isinstance(given, Measured):
            return given
        quantity = read(given, dimension, field=field)
        text = f"{quantity.value:.12g}"
        if isinstance(given, str):
            written = given.replace(",", "").replace("\u2212", "-").split()[0]
            text = written if _is_plain(written) else text
        return cls(text, quantity.unit, quantity.si(dimension, field=field))

    def in_system(self, dimension: Dimension, system: System) -> Quantity:
        """Return the quantity in the display unit of `system`."""
        return shown(self.si, dimension, system)

    def in_unit(self, dimension: Dimension, unit: str) -> float:
        """Return the number in `unit`."""
        return from_si(self.si, unit, dimension)

    def __str__(self) -> str:
        return f"{grouped(self.text)} {self.unit}".strip()


def _is_plain(text: str) -> bool:
    return text.lstrip("-").replace(".", "", 1).isdigit()


def grouped(text: str) -> str:
    """Return the digits with thousands separated, as written otherwise: ``10000.50`` gives ``10,000.50``."""
    whole, point, fraction = text.partition(".")
    sign, digits = ("-", whole[1:]) if whole.startswith("-") else ("", whole)
    return f"{sign}{int(digits):,}{point}{fraction}" if digits.isdigit() else text


class QuantityField(property):
    """Declares ``<name>_value``, ``<name>_unit`` and ``<name>_si`` on a model, read and set together as ``<name>``.

    Reading gives a `Measured` or None. Setting takes a `Measured`, a `Quantity`, a text such as
    ``"10000 psi"``, or None; a text that can't be read raises ValidationError naming the field.
    """

    def __init__(
        self, dimension: Dimension, verbose_name: str = "", *, blank: bool = False, help_text: str = ""
    ) -> None:
        super().__init__()
        self.dimension = dimension
        self.verbose_name = verbose_name
        self.blank = blank
        self.help_text = help_text

    def contribute_to_class(self, model: type[models.Model], name: str) -> None:
        """Add the three columns to the model; Django calls this while it builds the class."""
        self.name = name
        label = self.verbose_name or name.replace("_", " ")
        self.verbose_name = label
        value = models.CharField(
            f"{label}, number", max_length=32, blank=self.blank, default="", help_text=self.help_text
        )
        unit = models.CharField(f"{label}, unit", max_length=16, blank=self.blank, default="")
        si = models.FloatField(f"{label}, SI", null=True, blank=True, editable=False)
        for suffix, field in (("value", value), ("unit", unit), ("si", si)):
            model.add_to_class(f"{name}_{suffix}", field)
        setattr(model, name, self)

    def __get__(self, row: Any, owner: Any = None) -> Any:
        if row is None:
            return self
        si = getattr(row, f"{self.name}_si")
        if si is None:
            return None
        return Measured(getattr(row, f"{self.name}_value"), getattr(row, f"{self.name}_unit"), si)

    def __set__(self, row: Any, given: Measured | Quantity | str | None) -> None:
        if given is None or given == "":
            written, unit, si = "", "", None
        else:
            try:
                measured = Measured.of(given, self.dimension, field=self.name)
            except InputError as error:
                raise ValidationError({self.name: str(error)}) from error
            written, unit, si = measured.text, measured.unit, measured.si
        setattr(row, f"{self.name}_value", written)
        setattr(row, f"{self.name}_unit", unit)
        setattr(row, f"{self.name}_si", si)


def whole_quantity(table: str, name: str) -> models.CheckConstraint:
    """Return the constraint that a quantity is there as a whole (number, unit and SI) or not at all."""
    absent = models.Q(**{f"{name}_value": "", f"{name}_unit": "", f"{name}_si__isnull": True})
    present = ~models.Q(**{f"{name}_value": ""}) & models.Q(**{f"{name}_si__isnull": False})
    return models.CheckConstraint(
        condition=absent | present,
        name=f"{table}_{name}_whole"[:60],
        violation_error_message=f"{name.replace('_', ' ').capitalize()} needs its number and its unit.",
    )
