"""What the rigs of the invented fleet are built like: their places, their rules, their clocks. No real rig is meant."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from equipment.models import ComponentKind as Kind
from equipment.models import PositionGroup as Group
from equipment.models import RigKind, StackKind


@dataclass(frozen=True)
class Place:
    """One position of a stack: its name, what stands there, the bore position it hangs on, its rating in psi."""

    name: str
    kind: str
    group: str
    psi: int = 10_000
    outlet_of: str = ""


@dataclass(frozen=True)
class Design:
    """One way a rig of the fleet is built and works.

    Attributes:
        name: what distinguishes it.
        rig_kind: kind of rig.
        stack_kind: surface or subsea.
        edition: id of the rules it follows.
        zones: clocks of the places it works in.
        units: its display units.
        places: positions of its stack, top first.
        follows_masp: whether its permits let the test pressure follow the MASP of the section.
        every_days: how often it tests at the latest by its own plan, where the rules leave longer.
    """

    name: str
    rig_kind: str
    stack_kind: str
    edition: str
    zones: tuple[str, ...]
    units: str
    places: tuple[Place, ...]
    follows_masp: bool = False
    every_days: int = 14


LINE_UPS: Final[Mapping[str, tuple[str, ...]]] = {
    "stack": (Group.BORE, Group.CHOKE_SIDE, Group.KILL_SIDE),
    "manifold": (Group.MANIFOLD,),
    "drive": (Group.DRIVE, Group.STRING),
}
"""What is tested together, by the groups of its positions; shear rams have a line-up of their own."""
SHEAR_LINE_UP: Final = "shear"
SPARE_KINDS: Final = (
    Kind.ANNULAR,
    Kind.PIPE_RAM,
    Kind.VARIABLE_BORE_RAM,
    Kind.GATE_VALVE_MANUAL,
    Kind.GATE_VALVE_MANUAL,
    Kind.GATE_VALVE_MANUAL,
    Kind.CHOKE_VALVE,
    Kind.KELLY_VALVE,
    Kind.SAFETY_VALVE,
    Kind.INSIDE_BOP,
)
"""What lies in the store; a kind the stack has no place for is left out."""


def _valves(count: int, name: str, kind: str, group: str, psi: int = 10_000) -> Iterator[Place]:
    for number in range(1, count + 1):
        yield Place(f"{name} {number}", kind, group, psi)


def _outlets(of: str, side: str, kind: str, group: str) -> Iterator[Place]:
    for where in ("inner", "outer"):
        yield Place(f"{of}, {side} {where} valve", kind, group, outlet_of=of)


def _beside(manifold: int, standpipe: int, psi: int) -> Iterator[Place]:
    """Return what stands beside every stack: manifold, drive, string and closing unit."""
    yield Place("Choke line", Kind.FLEXIBLE_LINE, Group.CHOKE_SIDE, psi)
    yield Place("Kill line check valve", Kind.CHECK_VALVE, Group.KILL_SIDE, psi)
    yield from _valves(manifold, "Manifold valve", Kind.GATE_VALVE_MANUAL, Group.MANIFOLD, psi)
    yield from _valves(2, "Choke", Kind.CHOKE, Group.MANIFOLD, psi)
    yield from _valves(standpipe, "Standpipe valve", Kind.STANDPIPE_VALVE, Group.DRIVE, min(psi, 7_500))
    yield Place("Upper top-drive valve", Kind.KELLY_VALVE, Group.DRIVE, psi)
    yield Place("Lower top-drive valve", Kind.KELLY_VALVE, Group.DRIVE, psi)
    yield from _valves(2, "Safety valve", Kind.SAFETY_VALVE, Group.STRING, psi)
    yield Place("Inside BOP", Kind.INSIDE_BOP, Group.STRING, psi)
    yield Place("Closing unit", Kind.CLOSING_UNIT, Group.CONTROL, 3_000)
    yield Place("Main accumulator bank", Kind.ACCUMULATOR_BANK, Group.CONTROL, 3_000)


def _surface(manifold: int, standpipe: int, psi: int = 10_000) -> tuple[Place, ...]:
    return (
        Place("Annular", Kind.ANNULAR, Group.BORE, psi // 2),
        Place("Upper pipe ram", Kind.VARIABLE_BORE_RAM, Group.BORE, psi),
        Place("Blind-shear ram", Kind.BLIND_SHEAR_RAM, Group.BORE, psi),
        Place("Drilling spool", Kind.DRILLING_SPOOL, Group.BORE, psi),
        Place("Lower pipe ram", Kind.PIPE_RAM, Group.BORE, psi),
        *_outlets("Drilling spool", "choke", Kind.CHOKE_VALVE, Group.CHOKE_SIDE),
        *_outlets("Drilling spool", "kill", Kind.KILL_VALVE, Group.KILL_SIDE),
        *_beside(manifold, standpipe, psi),
    )


def _subsea(manifold: int, standpipe: int, psi: int = 15_000) -> tuple[Place, ...]:
    rams = ("Upper pipe ram", "Middle pipe ram", "Lower pipe ram")
    return (
        Place("Riser adapter", Kind.RISER, Group.RISER, psi),
        Place("Diverter", Kind.DIVERTER, Group.RISER, 500),
        Place("Upper annular", Kind.ANNULAR, Group.BORE, 10_000),
        Place("Riser connector", Kind.CONNECTOR, Group.BORE, psi),
        Place("Lower annular", Kind.ANNULAR, Group.BORE, 10_000),
        Place("Blind-shear ram", Kind.BLIND_SHEAR_RAM, Group.BORE, psi),
        Place("Casing-shear ram", Kind.CASING_SHEAR_RAM, Group.BORE, psi),
        *(Place(name, Kind.VARIABLE_BORE_RAM, Group.BORE, psi) for name in rams),
        Place("Wellhead connector", Kind.CONNECTOR, Group.BORE, psi),
        *(place for ram in rams for place in _outlets(ram, "choke", Kind.CHOKE_VALVE, Group.CHOKE_SIDE)),
        *(place for ram in rams for place in _outlets(ram, "kill", Kind.KILL_VALVE, Group.KILL_SIDE)),
        *_beside(manifold, standpipe, psi),
    )


_GULF: Final = ("America/Chicago",)
_PACIFIC: Final = ("America/Los_Angeles",)
_NORTH: Final = ("Europe/Oslo", "Europe/London")
_WIDE: Final = ("Asia/Kolkata", "Australia/Perth", "America/Sao_Paulo", "Africa/Lagos", "Asia/Singapore")
_LAND: Final = ("America/Denver", "America/Phoenix", "America/Edmonton", "America/Chicago")
_SHELF: Final = "us-ocs/2023"
_WORLD: Final = "api53-4/2012"
_BOTH: Final = (RigKind.JACK_UP, StackKind.SURFACE)

DESIGNS: Final[tuple[Design, ...]] = (
    Design("gulf-jack-up", *_BOTH, _SHELF, _GULF, "us", _surface(82, 8)),
    Design("gulf-platform", RigKind.PLATFORM, StackKind.SURFACE, _SHELF, _PACIFIC, "us", _surface(76, 8), True),
    Design("gulf-drillship", RigKind.DRILLSHIP, StackKind.SUBSEA, _SHELF, _GULF, "us", _subsea(88, 8)),
    Design("north-jack-up", *_BOTH, _WORLD, _NORTH, "si", _surface(84, 8)),
    Design("north-semi", RigKind.SEMI_SUBMERSIBLE, StackKind.SUBSEA, _WORLD, _NORTH, "si", _subsea(88, 8)),
    Design("wide-jack-up", *_BOTH, _WORLD, _WIDE, "si", _surface(84, 8), every_days=21),
    Design("wide-drillship", RigKind.DRILLSHIP, StackKind.SUBSEA, _WORLD, _WIDE, "us", _subsea(92, 8)),
    Design("plains-land", RigKind.LAND, StackKind.SURFACE, _WORLD, _LAND, "us", _surface(72, 6, 5_000), every_days=21),
    Design("basin-land", RigKind.LAND, StackKind.SURFACE, _WORLD, _LAND, "us", _surface(72, 6, 5_000)),
    Design("foothill-land", RigKind.LAND, StackKind.SURFACE, _WORLD, _LAND, "si", _surface(72, 6, 5_000)),
)
"""Rigs take these by turns."""

# fmt: off
NAMES: Final = (
    "Alder", "Aster", "Bilberry", "Bracken", "Bramble", "Burdock", "Campion", "Clover", "Cowslip", "Cudweed",
    "Dogwood", "Eyebright", "Figwort", "Foxtail", "Furze", "Goldenrod", "Harebell", "Hawkbit", "Heather", "Hornbeam",
    "Juniper", "Knapweed", "Ladyfern", "Larkspur", "Lichen", "Mallow", "Marram", "Meadowsweet", "Milkwort",
    "Mugwort", "Nettle", "Orpine", "Oxlip", "Pimpernel", "Plantain", "Quillwort", "Ragwort", "Rowan", "Samphire",
    "Saxifrage", "Sedge", "Sorrel", "Speedwell", "Spurge", "Stonecrop", "Sundew", "Tansy", "Teasel", "Thrift",
    "Vetch", "Wormwood", "Yarrow",
)
# fmt: on
"""Plants; with the rig's number behind, so that none is anybody's rig."""


def name_of(number: int) -> str:
    """Return the name of the fleet's rig of that number, counted from 1."""
    return f"{NAMES[(number - 1) % len(NAMES)]} {number:03d}"


def design_of(number: int) -> Design:
    """Return how that rig is built."""
    return DESIGNS[(number - 1) % len(DESIGNS)]
