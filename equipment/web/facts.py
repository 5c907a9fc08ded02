"""Facts of a row as a page shows them: as entered, and in the reader's units where those differ."""

from dataclasses import dataclass

from accounts.presentation import quantity_beside_unit, unit_label
from calcs.units import Dimension, System
from equipment.models import Measured
from equipment.models.quantities import grouped


@dataclass(frozen=True)
class Fact:
    """A term, its value as entered, and the value in the reader's units when it was entered in others."""

    label: str
    value: str
    also: str = ""

    @property
    def term(self) -> str:
        """Return the label as it starts a line."""
        return self.label[:1].upper() + self.label[1:]


def quantity_fact(label: str, measured: Measured, dimension: Dimension, units: System) -> Fact:
    """Return a quantity as a fact."""
    written = f"{grouped(measured.text)} {unit_label(measured.unit)}"
    return Fact(label, written, also_in(measured, dimension, units))


def also_in(measured: Measured, dimension: Dimension, units: System) -> str:
    """Return the quantity in the reader's units, or nothing when it was entered in them, or small lengths in inches.

    Bores and pipe sizes are read in inches or millimetres, whichever the drawing says; in feet nobody knows them.
    """
    if dimension is Dimension.LENGTH and measured.unit in ("in", "mm"):
        return _small_length(measured, units)
    theirs = quantity_beside_unit(measured.si, dimension, units)
    # Somebody who wrote megapascals reads them at any size; kilopascals in six digits nobody reads.
    known = {theirs.unit, "MPa"} if units == "si" else {theirs.unit}
    return "" if unit_label(measured.unit) in known else str(theirs)


def _small_length(measured: Measured, units: System) -> str:
    wanted = "mm" if units == "si" else "in"
    if measured.unit == wanted:
        return ""
    value = measured.in_unit(Dimension.LENGTH, wanted)
    return f"{value:.1f} mm" if wanted == "mm" else f"{value:.3f} in"
