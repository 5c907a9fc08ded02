"""A world for the tests, built through the application's own actions, so that it can't be impossible.

Each builder fills in what the caller leaves out. Names are numbered, moments lie at noon UTC on `DAY`
unless given, and everything is invented.
"""

import itertools
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

from accounts.models import User
from equipment.actions import (
    banks,
    components,
    documents,
    installations,
    instruments,
    rigs,
    service,
    stacks,
    wells,
)
from equipment.models import (
    Bank,
    Bottle,
    Component,
    ComponentKind,
    CrewMember,
    CrewRole,
    Document,
    Elastomer,
    HoleSection,
    Installation,
    Instrument,
    Position,
    PositionGroup,
    PrechargeCheck,
    Rig,
    ServiceEvent,
    Stack,
    StackKind,
    Well,
)
from tests_app.actions import programmes
from tests_app.actions.obligations import reconciling_once
from trail.actors import Actor, System

DAY: Final = datetime(2026, 3, 2, 12, tzinfo=UTC)
"""The moment at which a test's world is, unless it says otherwise."""
LONG_AGO: Final = DAY - timedelta(days=400)
PASSWORD: Final = "a quiet red mast"

_numbers = itertools.count(1)

PRESSURE_RATED: Final = frozenset(ComponentKind) - {ComponentKind.CLOSING_UNIT, ComponentKind.ACCUMULATOR_BANK}

SURFACE_POSITIONS: Final[tuple[tuple[str, str, str, str], ...]] = (
    ("Annular", "annular", "bore", ""),
    ("Upper pipe ram", "pipe-ram", "bore", ""),
    ("Blind-shear ram", "blind-shear-ram", "bore", ""),
    ("Drilling spool", "drilling-spool", "bore", ""),
    ("Lower pipe ram", "variable-bore-ram", "bore", ""),
    ("Inner choke valve", "choke-valve", "choke-side", "Drilling spool"),
    ("Outer choke valve", "choke-valve", "choke-side", "Drilling spool"),
    ("Inner kill valve", "kill-valve", "kill-side", "Drilling spool"),
    ("Outer kill valve", "kill-valve", "kill-side", "Drilling spool"),
    ("Manifold valve 1", "gate-valve-manual", "manifold", ""),
    ("Upper top-drive valve", "kelly-valve", "drive", ""),
    ("Safety valve", "safety-valve", "string", ""),
    ("Closing unit", "closing-unit", "control", ""),
)
"""Name, kind, group and bore position of a plain surface stack, top first."""

SUBSEA_POSITIONS: Final[tuple[tuple[str, str, str, str], ...]] = (
    ("Riser adapter", "riser", "riser", ""),
    ("Upper annular", "annular", "bore", ""),
    ("Riser connector", "connector", "bore", ""),
    ("Lower annular", "annular", "bore", ""),
    ("Blind-shear ram", "blind-shear-ram", "bore", ""),
    ("Casing-shear ram", "casing-shear-ram", "bore", ""),
    ("Upper pipe ram", "pipe-ram", "bore", ""),
    ("Lower pipe ram", "variable-bore-ram", "bore", ""),
    ("Wellhead connector", "connector", "bore", ""),
    ("Upper inner choke valve", "choke-valve", "choke-side", "Upper pipe ram"),
    ("Upper outer choke valve", "choke-valve", "choke-side", "Upper pipe ram"),
    ("Lower inner kill valve", "kill-valve", "kill-side", "Lower pipe ram"),
    ("Lower outer kill valve", "kill-valve", "kill-side", "Lower pipe ram"),
    ("Gas bleed valve", "choke-valve", "choke-side", "Lower annular"),
    ("Accumulator bank", "accumulator-bank", "control", ""),
)
"""The same of a plain subsea stack."""


def _number() -> int:
    return next(_numbers)


def a_person(
    name: str = "", *, rig: Rig | None = None, role: str = CrewRole.SUPERVISOR, superuser: bool = False
) -> User:
    """An account that signs in with PASSWORD; with a `rig`, in that `role` on it."""
    username = name.lower().replace(" ", ".") or f"person.{_number()}"
    first, _, last = name.partition(" ")
    make = User.objects.create_superuser if superuser else User.objects.create_user
    person: User = make(username, password=PASSWORD, first_name=first, last_name=last)
    if rig is not None:
        a_crew_member(rig, person, role=role)
    return person


def a_rig(
    name: str = "", *, rules: str = "us-ocs", by: Actor = System.DEMO, at: datetime = LONG_AGO, **facts: Any
) -> Rig:
    """A jack-up on the clock of Chicago, in US units, that follows `rules`; with none of them where those are empty."""
    facts = {"kind": "jack-up", "time_zone": "America/Chicago", **facts}
    rig = rigs.register_rig(name=name or f"Rig {_number()}", by=by, at=at, **facts)
    if rules:
        programmes.choose_edition(rig, edition=rules, by=by, at=at)
    return rig


def a_crew_member(
    rig: Rig, person: User, *, role: str = CrewRole.SUPERVISOR, by: Actor = System.DEMO, at: datetime = LONG_AGO
) -> CrewMember:
    """A person with a role on a rig."""
    return rigs.add_crew_member(rig, person=person, role=role, by=by, at=at)


def a_well(rig: Rig, name: str = "", *, by: Actor = System.DEMO, at: datetime = LONG_AGO, **facts: Any) -> Well:
    """A well in 200 ft of water."""
    facts = {"water_depth": "200 ft", "air_gap": "80 ft", **facts}
    return wells.register_well(rig, name=name or f"Well {_number()}", by=by, at=at, **facts)


def a_section(
    well: Well, name: str = "", *, by: Actor = System.DEMO, at: datetime = LONG_AGO, **facts: Any
) -> HoleSection:
    """A hole section whose MASP is worked out from its pore gradient: 10,000 ft × (0.6 − 0.1) psi/ft = 5,000 psi."""
    facts = {
        "casing_shoe_depth": "6000 ft",
        "total_depth": "10000 ft",
        "mud_weight": "11.8 lb/gal",
        "pore_gradient": "0.6 psi/ft",
        "fracture_gradient": "0.85 psi/ft",
        "gas_gradient": "0.1 psi/ft",
        "casing_internal_yield": "8000 psi",
        "wellhead_rated_working_pressure": "10000 psi",
        "masp_method": "pore-gas",
        **facts,
    }
    return wells.add_section(well, name=name or f"Section {_number()}", by=by, at=at, **facts)


def a_stack(
    rig: Rig,
    kind: str = StackKind.SURFACE,
    *,
    positions: tuple[tuple[str, str, str, str], ...] | None = None,
    by: Actor = System.DEMO,
    at: datetime = LONG_AGO,
) -> Stack:
    """A stack of that kind with its usual positions, all of them empty; `positions=()` for none."""
    stack = stacks.register_stack(rig, name=f"Stack {_number()}", kind=kind, by=by, at=at)
    usual = SURFACE_POSITIONS if kind == StackKind.SURFACE else SUBSEA_POSITIONS
    placed: dict[str, Position] = {}
    for name, component_kind, group, outlet_of in usual if positions is None else positions:
        placed[name] = a_position(
            stack, component_kind, name=name, group=group, outlet_of=placed.get(outlet_of), by=by, at=at
        )
    return stack


def a_position(
    stack: Stack,
    kind: str = ComponentKind.PIPE_RAM,
    *,
    name: str = "",
    group: str = PositionGroup.BORE,
    by: Actor = System.DEMO,
    at: datetime = LONG_AGO,
    **facts: Any,
) -> Position:
    """A position at the bottom of the stack."""
    named = name or f"Position {_number()}"
    return stacks.add_position(stack, name=named, kind=kind, group=group, by=by, at=at, **facts)


def a_component(
    rig: Rig,
    kind: str = ComponentKind.PIPE_RAM,
    *,
    serial: str = "",
    rwp: str = "10000 psi",
    by: Actor = System.DEMO,
    at: datetime = LONG_AGO,
    **facts: Any,
) -> Component:
    """A component that stands nowhere yet."""
    facts = {"rated_working_pressure": rwp if kind in PRESSURE_RATED else None, **facts}
    return components.register_component(rig, kind=kind, serial=serial or f"SN-{_number():05}", by=by, at=at, **facts)


def an_installation(
    position: Position,
    component: Component | None = None,
    *,
    installed_at: datetime = LONG_AGO,
    by: Actor = System.DEMO,
    at: datetime = DAY,
) -> Installation:
    """A component standing in the position since `installed_at`; a new one of its kind unless given."""
    standing = component or a_component(position.stack.rig, position.kind)
    return installations.install_component(standing, position, installed_at=installed_at, by=by, at=at)


def a_filled_stack(rig: Rig, kind: str = StackKind.SURFACE, *, installed_at: datetime = LONG_AGO) -> Stack:
    """A stack with a component standing in each position."""
    with reconciling_once():
        stack = a_stack(rig, kind)
        for position in stack.positions.all():
            an_installation(position, installed_at=installed_at)
    return stack


def an_instrument(
    rig: Rig,
    kind: str = "digital-recorder",
    *,
    serial: str = "",
    by: Actor = System.DEMO,
    at: datetime = DAY,
    **facts: Any,
) -> Instrument:
    """A recorder of 15,000 psi whose calibration is in date on `DAY`."""
    facts = {
        "range_low": "0 psi",
        "range_high": "15000 psi",
        "calibrated_on": date(2026, 1, 15),
        "calibration_due_on": date(2027, 1, 15),
        "certificate_number": "CAL-0001",
        **facts,
    }
    return instruments.register_instrument(rig, kind=kind, serial=serial or f"I-{_number():04}", by=by, at=at, **facts)


def a_document(
    subject: Component | Instrument,
    content: bytes = b"%PDF-1.7 an invented certificate",
    *,
    by: Actor = System.DEMO,
    at: datetime = DAY,
    **facts: Any,
) -> Document:
    """A certificate of conformity with its file."""
    facts = {"kind": "conformity", "title": "Certificate of conformity", "file_name": "conformity.pdf", **facts}
    return documents.attach_document(subject, content=content, by=by, at=at, **facts)


def an_elastomer(component: Component, *, by: Actor = System.DEMO, at: datetime = DAY, **facts: Any) -> Elastomer:
    """Ram block seals fitted two months before `DAY`."""
    facts = {"part": "Ram block seals", "compound": "HNBR", "installed_on": date(2026, 1, 2), **facts}
    return service.fit_elastomer(component, by=by, at=at, **facts)


def a_service_event(
    component: Component, *, finished_at: datetime = DAY, by: Actor = System.DEMO, at: datetime = DAY, **facts: Any
) -> ServiceEvent:
    """A repair finished on `DAY`."""
    facts = {"kind": "repair", "description": "Bonnet seals changed.", **facts}
    return service.record_service(component, finished_at=finished_at, by=by, at=at, **facts)


def a_bank(
    component: Component | None = None,
    *,
    bottles: int = 0,
    rig: Rig | None = None,
    by: Actor = System.DEMO,
    at: datetime = LONG_AGO,
    **facts: Any,
) -> Bank:
    """A main bank at surface, 3,000 psi, 1,000 psi of precharge at 70 °F ± 100 psi, with so many bottles of 11 gal."""
    facts = {
        "purpose": "main",
        "location": "surface",
        "precharge_basis": "as-set",
        "design_precharge": "1000 psi",
        "reference_temperature": "70 degF",
        "charged_pressure": "3000 psi",
        "minimum_operating_pressure": "1200 psi",
        "precharge_tolerance": "100 psi",
        "tolerance_source": "API Standard 53, 4th ed. (from memory)",
        **facts,
    }
    held = component or a_component(rig or a_rig(), ComponentKind.ACCUMULATOR_BANK)
    bank = banks.register_bank(held, by=by, at=at, **facts)
    for _ in range(bottles):
        a_bottle(bank, by=by, at=at)
    return bank


def a_bottle(bank: Bank, *, by: Actor = System.DEMO, at: datetime = LONG_AGO, **facts: Any) -> Bottle:
    """A bottle of 11 gal that holds 10 gal of gas, in the next position, its shell test in date on `DAY`."""
    facts = {
        "position_number": bank.bottles.count() + 1,
        "serial": f"BT-{_number():04}",
        "shell_volume": "11 gal",
        "gas_volume": "10 gal",
        "shell_tested_on": date(2024, 6, 1),
        "shell_test_due_on": date(2029, 6, 1),
        "in_service_on": date(2024, 7, 1),
        **facts,
    }
    return banks.add_bottle(bank, by=by, at=at, **facts)


def a_precharge_check(
    bank: Bank,
    pressures: tuple[str, ...] = (),
    *,
    gas_temperature: str = "70 degF",
    taken_at: datetime = DAY,
    by: Actor = System.DEMO,
    at: datetime = DAY,
    **facts: Any,
) -> PrechargeCheck:
    """A round of readings, one a bottle in order of position; 1,000 psi on each unless given."""
    standing = list(bank.bottles.exclude(state="removed").order_by("position_number"))
    readings = [
        banks.Read(bottle, pressure, gas_temperature)
        for bottle, pressure in zip(standing, pressures or ("1000 psi",) * len(standing), strict=False)
    ]
    facts = {"taken_by": "Ben Marsh", "fluid_bled_off": True, **facts}
    if "instrument" not in facts:
        facts["instrument"] = an_instrument(bank.component.rig, "gauge")
    return banks.record_precharge_check(bank, readings=readings, taken_at=taken_at, by=by, at=at, **facts)
