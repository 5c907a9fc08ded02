"""What exists and where it is."""

from equipment.models.components import (
    NOT_PRESSURE_TESTED,
    RAM_KINDS,
    Component,
    ComponentKind,
    Elastomer,
    ServiceEvent,
    ServiceKind,
)
from equipment.models.documents import Document, DocumentKind
from equipment.models.installations import Installation
from equipment.models.instruments import Instrument, InstrumentKind
from equipment.models.quantities import Measured, QuantityField
from equipment.models.rigs import CrewMember, CrewRole, DisplayUnits, Rig, RigKind
from equipment.models.stacks import Position, PositionGroup, Stack, StackKind
from equipment.models.wells import DepthDatum, HoleSection, MaspBasis, MaspMethod, Well

__all__ = [
    "NOT_PRESSURE_TESTED",
    "RAM_KINDS",
    "Component",
    "ComponentKind",
    "CrewMember",
    "CrewRole",
    "DepthDatum",
    "DisplayUnits",
    "Document",
    "DocumentKind",
    "Elastomer",
    "HoleSection",
    "Installation",
    "Instrument",
    "InstrumentKind",
    "MaspBasis",
    "MaspMethod",
    "Measured",
    "Position",
    "PositionGroup",
    "QuantityField",
    "Rig",
    "RigKind",
    "ServiceEvent",
    "ServiceKind",
    "Stack",
    "StackKind",
    "Well",
]
