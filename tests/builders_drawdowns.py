"""Drawdown and pump tests as done, for the tests: built through the application's own actions.

The bank is one of 12 bottles of 10 gal at surface, 1,000 psi of precharge at 70 °F, charged to 3,000 psi. The readings
made up by `lawful_readings` are those nitrogen itself would show.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final

from accounts.models import User
from calcs.units import Dimension, from_si
from equipment.actions import components
from equipment.models import Bank, ComponentKind, HoleSection, Instrument, Position, PrechargeCheck, Rig, Stack
from tests import builders
from tests.builders import DAY, LONG_AGO
from tests.builders_signing import all_sign
from tests.builders_tests_app import World
from tests_app.actions import drawdown_functions, drawdowns, pressure_tests, pump_tests, recharges
from tests_app.actions.drawdown_functions import FunctionReading
from tests_app.actions.drawdowns import DrawdownHeading
from tests_app.actions.obligations import reconciling_once
from tests_app.actions.pump_tests import PumpFacts, PumpHeading
from tests_app.actions.recharges import RechargeFacts
from tests_app.models import Recharge, Record, Signature
from tests_app.queries.drawdowns import comparison_of

STARTED: Final = DAY
CONCLUDED: Final = DAY + timedelta(hours=2)
SIGNED: Final = DAY + timedelta(hours=3)

CLOSING_VOLUMES: Final[Mapping[str, str]] = {
    "annular": "15.2 gal",
    "pipe-ram": "3.4 gal",
    "variable-bore-ram": "3.6 gal",
}
OPENING_VOLUMES: Final[Mapping[str, str]] = {"choke-valve": "0.6 gal", "kill-valve": "0.6 gal"}


@dataclass
class BankWorld:
    """A rig with a stack whose volumes are on file, a bank that stands in it, a gauge and a supervisor."""

    rig: Rig
    stack: Stack
    section: HoleSection
    bank: Bank
    gauge: Instrument
    supervisor: User
    check: PrechargeCheck | None = None
    positions: dict[str, Position] = field(default_factory=dict)

    def at(self, name: str) -> Position:
        """Return a position of the stack by its name."""
        if not self.positions:
            self.positions = {position.name: position for position in self.stack.positions.all()}
        return self.positions[name]


def a_bank_world(
    kind: str = "surface", *, bottles: int = 12, precharge: Sequence[str] = (), read: bool = True, **bank: Any
) -> BankWorld:
    """A rig ready for a drawdown; the precharge of every bottle read two hours before it unless `read` is False."""
    with reconciling_once():
        rig = builders.a_rig()
        supervisor = builders.a_person(rig=rig)
        supervisor.display_name = "Ida Storm"
        supervisor.save()
        stack = builders.a_filled_stack(rig, kind)
        _enter_volumes(stack, supervisor)
        held = builders.a_bank(rig=rig, bottles=bottles, **bank)
        _install(stack, held)
        check = None
        if read:
            taken_at = STARTED - timedelta(hours=2)
            check = builders.a_precharge_check(held, tuple(precharge), taken_at=taken_at, at=taken_at)
        section = builders.a_section(builders.a_well(rig))
        gauge = builders.an_instrument(rig, "gauge", range_high="6000 psi")
    return BankWorld(rig, stack, section, held, gauge, supervisor, check)


def a_subsea_bank_world(**bank: Any) -> BankWorld:
    """A rig with a subsea stack whose bank stands at 1,500 ft, its precharge 1,000 psi over the seawater."""
    facts = {
        "location": "subsea",
        "depth": "1500 ft",
        "control_fluid_gradient": "0.445 psi/ft",
        "precharge_basis": "above-hydrostatic",
        "precharge": ("1667.5 psi",) * 12,
        **bank,
    }
    return a_bank_world("subsea", **facts)


def a_drawdown_heading(**facts: Any) -> DrawdownHeading:
    """A drawdown on the interval with every pump isolated, from 3,000 psi, the gas at 70 °F."""
    facts = {
        "started_at": STARTED,
        "reason": "interval",
        "control_station": "drill-floor",
        "pipe_in_hole": "5 in",
        "operator": "Ben Marsh",
        "gas_temperature": "70 degF",
        "start_pressure": "3000 psi",
        "start_settled": True,
        "electric_pumps_isolated": True,
        "air_pumps_isolated": True,
        "isolation_confirmed_by": "Ada Frost",
        **facts,
    }
    return DrawdownHeading(**facts)


def a_drawdown_draft(
    world: BankWorld,
    *,
    at: datetime = STARTED,
    check: PrechargeCheck | None = None,
    instruments: Sequence[Instrument] | None = None,
    **heading: Any,
) -> Record:
    """A draft of a drawdown without functions."""
    pod = "blue" if world.stack.kind == "subsea" else ""
    return drawdowns.open_drawdown_test(
        bank=world.bank,
        section=world.section,
        precharge_check=check or world.check,
        heading=a_drawdown_heading(**{"started_at": at, "pod": pod, **heading}),
        instruments=[world.gauge] if instruments is None else instruments,
        by=world.supervisor,
        at=at,
    )


def filled(record: Record, world: BankWorld, *, at: datetime = STARTED) -> Record:
    """The same draft with the usual functions from the stack."""
    drawdown_functions.fill_functions(record, by=world.supervisor, at=at)
    record.refresh_from_db()
    return record


def lawful_readings(record: Record, *, share: float = 1.0) -> dict[int, FunctionReading]:
    """What nitrogen itself would show at once after each function, in psi; `share` scales the fall.

    Every function takes a second a gallon, and no line valve longer than a ram.
    """
    comparison = comparison_of(record)
    assert comparison.start is not None
    found = {}
    for row in comparison.rows:
        assert row.cold is not None, f"the bank can't give the fluid of function {row.order}"
        fallen = comparison.start - (comparison.start - row.cold) * share
        seconds = from_si(row.volume, "gal", Dimension.VOLUME)
        found[row.order] = FunctionReading(f"{seconds:.1f}", f"{from_si(fallen, 'psi', Dimension.PRESSURE):.1f} psi")
    return found


def read(
    record: Record, world: BankWorld, readings: Mapping[int, FunctionReading] | None = None, *, at: datetime = STARTED
) -> Record:
    """The same draft with readings; lawful ones unless given."""
    record.refresh_from_db()
    return drawdown_functions.write_readings(
        record, readings=readings or lawful_readings(record), version=record.version, by=world.supervisor, at=at
    )


def a_whole_drawdown(world: BankWorld, *, at: datetime = STARTED, share: float = 1.0, **heading: Any) -> Record:
    """A concluded draft with the usual functions and lawful readings; a `share` over one makes it fail."""
    record = filled(a_drawdown_draft(world, at=at, **heading), world, at=at)
    record = read(record, world, lawful_readings(record, share=share), at=at)
    return concluded(record, world, at=at)


def a_pump_draft(world: BankWorld, *, at: datetime = STARTED, **heading: Any) -> Record:
    """A draft of a pump test without readings."""
    facts = {"started_at": at, "reason": "interval", "operator": "Ben Marsh", **heading}
    return pump_tests.open_pump_test(
        bank=world.bank, heading=PumpHeading(**facts), instruments=[world.gauge], by=world.supervisor, at=at
    )


def a_recharge(record: Record, world: BankWorld, *, at: datetime = STARTED, **facts: Any) -> Recharge:
    """A charging from 1,000 psi to 3,000 psi by all pumps in ten minutes."""
    facts = {"pumps": "all", "from_pressure": "1000 psi", "to_pressure": "3000 psi", "seconds": 600.0, **facts}
    return recharges.add_recharge(record, facts=RechargeFacts(**facts), by=world.supervisor, at=at)


def a_pump(record: Record, world: BankWorld, *, at: datetime = STARTED, **facts: Any) -> Any:
    """An electric primary pump that starts at 2,750 psi and stops at 3,000 psi."""
    facts = {
        "pump": "Triplex 1",
        "duty": "primary",
        "drive": "electric",
        "starts_at": "2750 psi",
        "stops_at": "3000 psi",
        **facts,
    }
    return pump_tests.add_pump(record, facts=PumpFacts(**facts), by=world.supervisor, at=at)


def a_whole_pump_test(world: BankWorld, *, at: datetime = STARTED, seconds: float = 600.0, **heading: Any) -> Record:
    """A concluded draft of a pump test: charged by all pumps and with one out, one pump's settings read."""
    record = a_pump_draft(world, at=at, **heading)
    a_recharge(record, world, at=at, seconds=seconds)
    a_recharge(record, world, at=at, pumps="one-out", pump_out="Triplex 1", seconds=1500.0)
    a_pump(record, world, at=at)
    return concluded(record, world, at=at)


def concluded(record: Record, world: BankWorld, *, at: datetime = STARTED) -> Record:
    """The same draft, concluded two hours after `at`."""
    over = at + timedelta(hours=2)
    return pressure_tests.conclude(record, concluded_at=over, by=world.supervisor, at=over)


def signed(record: Record, world: BankWorld, *, at: datetime | None = None) -> Signature:
    """Every needed signature under a draft, the supervisor's last, an hour after its conclusion."""
    record.refresh_from_db()
    assert record.concluded_at is not None
    return all_sign(record, world.supervisor, at=at or record.concluded_at + timedelta(hours=1))


def a_sealed_drawdown(world: BankWorld, *, at: datetime = STARTED, share: float = 1.0, **heading: Any) -> Record:
    """A signed drawdown; a `share` over one makes it fail."""
    record = a_whole_drawdown(world, at=at, share=share, **heading)
    signed(record, world)
    record.refresh_from_db()
    return record


def a_sealed_pump_test(world: BankWorld, *, at: datetime = STARTED, **heading: Any) -> Record:
    """A signed pump test."""
    record = a_whole_pump_test(world, at=at, **heading)
    signed(record, world)
    record.refresh_from_db()
    return record


def _enter_volumes(stack: Stack, by: User) -> None:
    """Put what preventers take to close, and the outer line valves to open, on file."""
    for position in stack.positions.all():
        component = position.installations.select_related("component").get().component
        facts: dict[str, Any] = {}
        if component.kind in CLOSING_VOLUMES:
            facts["closing_volume"] = CLOSING_VOLUMES[component.kind]
        if component.kind in OPENING_VOLUMES and "uter" in position.name:
            facts["opening_volume"] = OPENING_VOLUMES[component.kind]
        if facts:
            components.amend_component(component, by=by, at=LONG_AGO + timedelta(days=1), **facts)


def _install(stack: Stack, bank: Bank) -> None:
    standing = stack.positions.filter(kind=ComponentKind.ACCUMULATOR_BANK).first()
    if standing is None:
        standing = builders.a_position(stack, ComponentKind.ACCUMULATOR_BANK, name="Main bank", group="control")
    else:
        taken = standing.installations.get(removed_at__isnull=True)
        builders.installations.remove_component(
            taken, removed_at=LONG_AGO + timedelta(days=1), reason="Changed out", by=builders.System.DEMO, at=DAY
        )
    builders.an_installation(standing, bank.component, installed_at=LONG_AGO + timedelta(days=2))


def a_bank_beside(world: World) -> BankWorld:
    """A bank installed in the stack of a world of pressure tests, its precharge read two hours before."""
    with reconciling_once():
        _enter_volumes(world.stack, world.supervisor)
        held = builders.a_bank(rig=world.rig, bottles=12)
        _install(world.stack, held)
        taken_at = STARTED - timedelta(hours=2)
        check = builders.a_precharge_check(held, taken_at=taken_at, at=taken_at)
        gauge = builders.an_instrument(world.rig, "gauge", serial="PG-77", range_high="6000 psi")
    return BankWorld(world.rig, world.stack, world.section, held, gauge, world.supervisor, check)
