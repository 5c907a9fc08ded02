"""What a drawing of a pressure system needs to know: small enough to be kept with a plan and drawn as it was then."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from equipment.models import PositionGroup, PressureSystem


@dataclass(frozen=True, slots=True)
class SketchedCavity:
    """A cavity by name, and the part of the drawing it belongs to."""

    name: str
    part: str
    is_pump_point: bool
    is_vent: bool


@dataclass(frozen=True, slots=True)
class SketchedElement:
    """An element by name, between two cavities by name."""

    name: str
    well_side: str
    far_side: str

    @property
    def sides(self) -> frozenset[str]:
        """Return the names of the two cavities it stands between."""
        return frozenset((self.well_side, self.far_side))


@dataclass(frozen=True, slots=True)
class Sketch:
    """Cavities and elements in the order they are listed."""

    cavities: tuple[SketchedCavity, ...]
    elements: tuple[SketchedElement, ...]

    def around(self, pressurised: frozenset[str]) -> "Sketch":
        """Return the bore, and of all else only what touches a cavity under pressure."""
        bore = {cavity.name for cavity in self.cavities if cavity.part in (PositionGroup.BORE, PositionGroup.RISER)}
        elements = tuple(one for one in self.elements if one.sides & pressurised or one.sides <= bore)
        touched = frozenset[str]().union(*(one.sides for one in elements))
        return Sketch(tuple(cavity for cavity in self.cavities if cavity.name in touched), elements)

    def as_json(self) -> dict[str, Any]:
        """Return it as it can be stored."""
        return {"cavities": [asdict(one) for one in self.cavities], "elements": [asdict(one) for one in self.elements]}

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> "Sketch":
        """Return what `as_json` stored."""
        return cls(
            tuple(SketchedCavity(**one) for one in stored["cavities"]),
            tuple(SketchedElement(**one) for one in stored["elements"]),
        )


def sketch_of(system: PressureSystem) -> Sketch:
    """Return the pressure system as it is drawn. Two queries."""
    elements = system.elements.select_related("well_side", "far_side")
    return Sketch(
        tuple(SketchedCavity(one.name, one.part, one.is_pump_point, one.is_vent) for one in system.cavities.all()),
        tuple(SketchedElement(one.name, one.well_side.name, one.far_side.name) for one in elements),
    )
