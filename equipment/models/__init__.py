"""What exists and where it is."""

from equipment.models.banks import (
    Bank,
    BankLocation,
    BankPurpose,
    Bottle,
    BottleState,
    PrechargeBasis,
    PrechargeCheck,
    PrechargeReading,
)
from equipment.models.components import (
    NOT_PRESSURE_TESTED,
    RAM_KINDS,
    Component,
    ComponentKind,
    Elastomer,
    ServiceEvent,
    ServiceKind,
)
from equipment.models.controls import ControlItem, ControlKind, ControlPlace
from equipment.models.documents import Document, DocumentKind
from equipment.models.installations import Installation
from equipment.models.instruments import Instrument, InstrumentKind
from equipment.models.pressure_systems import (
    Cavity,
    CavityLimit,
    ClosesWith,
    ElementKind,
    HoldsFrom,
    PressureSystem,
    SystemElement,
)
from equipment.models.programs import AccessToken, KeptAnswer
from equipment.models.quantities import Measured, QuantityField
from equipment.models.rigs import CrewMember, CrewRole, DisplayUnits, Rig, RigKind
from equipment.models.stacks import Position, PositionGroup, Stack, StackKind
from equipment.models.wells import DepthDatum, HoleSection, MaspBasis, MaspMethod, Well
from equipment.models.withdrawing import Withdrawable

__all__ = [
    "NOT_PRESSURE_TESTED",
    "RAM_KINDS",
    "AccessToken",
    "Bank",
    "BankLocation",
    "BankPurpose",
    "Bottle",
    "BottleState",
    "Cavity",
    "CavityLimit",
    "ClosesWith",
    "Component",
    "ComponentKind",
    "ControlItem",
    "ControlKind",
    "ControlPlace",
    "CrewMember",
    "CrewRole",
    "DepthDatum",
    "DisplayUnits",
    "Document",
    "DocumentKind",
    "Elastomer",
    "ElementKind",
    "HoldsFrom",
    "HoleSection",
    "Installation",
    "Instrument",
    "InstrumentKind",
    "KeptAnswer",
    "MaspBasis",
    "MaspMethod",
    "Measured",
    "Position",
    "PositionGroup",
    "PrechargeBasis",
    "PrechargeCheck",
    "PrechargeReading",
    "PressureSystem",
    "QuantityField",
    "Rig",
    "RigKind",
    "ServiceEvent",
    "ServiceKind",
    "Stack",
    "StackKind",
    "SystemElement",
    "Well",
    "Withdrawable",
]
