"""One rig of the invented fleet while its history is written."""

from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from random import Random
from typing import Any

from accounts.models import User
from calcs.rules import Edition
from calcs.units import Dimension
from equipment.models import (
    Bank,
    Bottle,
    Component,
    HoleSection,
    Installation,
    Instrument,
    Measured,
    Position,
    Rig,
    Stack,
)
from equipment.queries.stacks import Standing
from tests_app.management.fleet.designs import Design
from tests_app.management.fleet.phrases import Phrases
from tests_app.management.fleet.shelf import Shelf
from tests_app.models import Line


@cache
def measured(text: str, dimension: Dimension = Dimension.PRESSURE) -> Measured:
    """Return a quantity as a row holds it; reading a unit is slow, and the same few come again and again."""
    return Measured.of(text, dimension, field="quantity")


def quantities(**given: Measured | None) -> dict[str, Any]:
    """Return quantities as facts of a row to be made."""
    return given


@dataclass
class Site:
    """The rig's rows, what stands where as its history goes on, and the chance that decides it.

    Attributes:
        number: of the rig in the fleet, counted from 1.
        chance: the rig's own, so that a fleet comes out alike however many runs it was made in.
        founded_at: when the rig's history begins.
        until: when it ends: the moment the fleet is made for.
        crew: the people by their role on the rig.
        standing: what stands in each position, in the order of `positions`.
        spares: what lies in the store.
        phrases: parts of sealed contents, written once.
        models: lines of each component, to be copied.
        copies: what sealed contents hold of a line.
        sealed: SHA-256 of the seal last given on the rig.
        records: how many records the rig has.
    """

    shelf: Shelf
    number: int
    chance: Random
    design: Design
    edition: Edition
    rig: Rig
    founded_at: datetime
    until: datetime
    crew: dict[str, User] = field(default_factory=dict)
    stack: Stack = field(default_factory=Stack)
    positions: list[Position] = field(default_factory=list)
    standing: list[Installation] = field(default_factory=list)
    spares: list[Component] = field(default_factory=list)
    sections: list[HoleSection] = field(default_factory=list)
    instruments: list[Instrument] = field(default_factory=list)
    banks: list[Bank] = field(default_factory=list)
    bottles: dict[int, list[Bottle]] = field(default_factory=dict)
    components: int = 0
    phrases: Phrases = field(default_factory=Phrases)
    models: dict[tuple[int, int], Line] = field(default_factory=dict)
    copies: dict[tuple[Any, ...], Any] = field(default_factory=dict)
    sealed: str = ""
    records: int = 0

    def standings(self) -> tuple[Standing, ...]:
        """Return what stands in each position now."""
        return tuple(
            Standing(position, one.component, one) for position, one in zip(self.positions, self.standing, strict=True)
        )

    def section_at(self, moment: datetime) -> HoleSection | None:
        """Return the hole section being drilled at a moment."""
        begun = [one for one in self.sections if one.begins_at is not None and one.begins_at <= moment]
        return begun[-1] if begun else None
