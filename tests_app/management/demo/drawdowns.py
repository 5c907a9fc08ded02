"""The demo's drawdown and pump tests: opened, worked, read, concluded and signed as people do it.

What the gauge shows is what cold nitrogen in the bottles that were truly open would show, plus a little scatter.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from typing import Any, Final

from accounts.models import User
from calcs.gas import Model
from calcs.units import Dimension, GaugePressure, Quantity, from_si, read, to_si
from equipment.models import Bank, ComponentKind, Position
from tests_app.actions.drawdown_functions import (
    FunctionFacts,
    FunctionReading,
    add_function,
    fill_functions,
    write_readings,
)
from tests_app.actions.drawdown_recordings import accept_proposed, attach_drawdown_recording
from tests_app.actions.drawdowns import DrawdownHeading, open_drawdown_test
from tests_app.actions.pressure_tests import conclude
from tests_app.actions.pump_tests import PumpFacts, PumpHeading, add_pump, open_pump_test
from tests_app.actions.recharges import RechargeFacts, add_recharge
from tests_app.management.demo.recorder import MadeDrop, as_csv, drawdown_samples
from tests_app.management.demo.signing import sign_by_all
from tests_app.management.demo.site import Happening, Site
from tests_app.models import DrawdownFunction, Movement, PumpDrive, PumpDuty, PumpsRunning, Record
from tests_app.queries.banks_tested import read_copy
from tests_app.queries.drawdowns import functions_of

LAST_WAIT_S: Final = 900
BETWEEN_S: Final = 45.0
_COMES_BACK: Final = 0.06
"""Share of the way from cold to settled gas that comes back in the short wait after a function."""
_COMES_BACK_AT_LAST: Final = 0.72
_LASTS: Final = timedelta(minutes=75)
_BEFORE_SIGNING: Final = timedelta(minutes=20)
_LINE_VALVES: Final = frozenset(
    {ComponentKind.CHOKE_VALVE, ComponentKind.KILL_VALVE, ComponentKind.GATE_VALVE_HYDRAULIC}
)
_SECONDS: Final = {ComponentKind.ANNULAR: 23.5, ComponentKind.PIPE_RAM: 11.5, ComponentKind.VARIABLE_BORE_RAM: 13.0}
_VALVE_SECONDS: Final = 4.5


@dataclass(frozen=True)
class Shown:
    """What the gauge showed of one function, Pa gauge: at once, and had it been left to settle."""

    at_once: float
    settled: float


def drawdown_happenings(site: Site, scenario: Mapping[str, Any], signer: User) -> Iterator[Happening]:
    """Return every drawdown and pump test of the scenario with the moment it began."""
    for told in scenario.get("drawdowns", ()):
        moment = site.moment(told["days_ago"], told["hour"])
        yield moment, partial(_draw_down, site, told, moment, signer)
    for told in scenario.get("pump_tests", ()):
        moment = site.moment(told["days_ago"], told["hour"])
        yield moment, partial(_test_pumps, site, told, moment, signer)


def _draw_down(site: Site, told: Mapping[str, Any], at: datetime, signer: User) -> None:
    bank = _bank(site, told)
    check = bank.precharge_checks.filter(taken_at__lte=at).first()
    record = open_drawdown_test(
        bank=bank,
        section=site.section_at(at),
        precharge_check=check,
        heading=_heading(told, at),
        instruments=site.instruments[:2],
        by=signer,
        at=at,
    )
    _list_functions(site, record, told, signer, at)
    functions = list(functions_of(record))
    shown = _shown(record, functions, told)
    if told.get("recorder"):
        _read_off_file(record, functions, shown, told, signer, at)
    else:
        _read_off_gauge(record, functions, shown, told, signer, at)
    _recharge(record, shown[-1], told, signer, at + _LASTS)
    record = _sealed(site, record, at + _LASTS, signer)
    assert record.passed is told["passes"], f"{record}: {record.drawdown_test.verdict}"


def _heading(told: Mapping[str, Any], at: datetime) -> DrawdownHeading:
    return DrawdownHeading(
        started_at=at,
        reason=told["reason"],
        control_station=told["station"],
        pod=told.get("pod", ""),
        pipe_in_hole=told["pipe"],
        operator="Demo Driller",
        gas_temperature=told["gas_temperature"],
        start_pressure=told["start"],
        start_settled=True,
        electric_pumps_isolated=True,
        air_pumps_isolated=True,
        isolation_confirmed_by="Demo Subsea Engineer" if told.get("pod") else "Demo Mechanic",
        wait_seconds=None if told.get("recorder") else LAST_WAIT_S,
        remarks=told.get("remarks", ""),
    )


def _list_functions(site: Site, record: Record, told: Mapping[str, Any], by: User, at: datetime) -> None:
    """Add the written sequence, or the usual one where the scenario names none."""
    if "functions" not in told:
        fill_functions(record, by=by, at=at)
    for name in told.get("functions", ()):
        position = site.positions[name]
        movement = Movement.OPEN if position.kind in _LINE_VALVES else Movement.CLOSE
        facts = FunctionFacts(name=f"{name}, {movement}", movement=movement, position=position)
        add_function(record, facts=facts, by=by, at=at)


def _shown(record: Record, functions: Sequence[DrawdownFunction], told: Mapping[str, Any]) -> list[Shown]:
    """Return what the bottles that were open gave: cold at once, and where the gas would settle."""
    test = record.drawdown_test
    assert test.gas_temperature is not None
    assert test.start_pressure is not None
    bank = read_copy(test.bank_as_tested)
    temperature = test.gas_temperature.si
    precharge = bank.measured_at(temperature)
    assert precharge is not None
    drawn, found = 0.0, []
    for function in functions:
        drawn += function.volume.si
        after = []
        for model in (Model.NITROGEN_ISENTROPIC, Model.NITROGEN_ISOTHERMAL):
            own = bank.model_bank(model, precharge, temperature)
            own = replace(own, count=told.get("truly_open", own.count))
            gas = own.gas(GaugePressure(test.start_pressure.si))
            after.append(float(own.at_surface(gas.pressure_at(gas.charged_ratio + drawn / own.gas_volume))))
        scatter = (function.order * 7 % 5 - 2) * to_si(2, "psi", Dimension.PRESSURE)
        found.append(Shown(after[0] + scatter, after[1]))
    return found


def _read_off_gauge(
    record: Record,
    functions: Sequence[DrawdownFunction],
    shown: Sequence[Shown],
    told: Mapping[str, Any],
    by: User,
    at: datetime,
) -> None:
    """Write down what the gauge showed at once; after the last function also what it came back to."""
    last = functions[-1].order
    readings = {}
    for function, one in zip(functions, shown, strict=True):
        back = one.at_once + _COMES_BACK_AT_LAST * (one.settled - one.at_once)
        settled = _text(back, told) if function.order == last else ""
        readings[function.order] = FunctionReading(_seconds(function), _text(one.at_once, told), settled)
    write_readings(record, readings=readings, version=_version(record), by=by, at=at)


def _read_off_file(
    record: Record,
    functions: Sequence[DrawdownFunction],
    shown: Sequence[Shown],
    told: Mapping[str, Any],
    by: User,
    at: datetime,
) -> None:
    """Write the watch's times, attach the recorder's file and take over the steps found in it."""
    times = {one.order: FunctionReading(_seconds(one)) for one in functions}
    write_readings(record, readings=times, version=_version(record), by=by, at=at)
    drops = [
        MadeDrop(_psi(one.at_once), _psi(one.at_once + share * (one.settled - one.at_once)), seconds, wait)
        for one, function, share, wait in zip(
            shown,
            functions,
            [_COMES_BACK] * (len(shown) - 1) + [_COMES_BACK_AT_LAST],
            [BETWEEN_S] * (len(shown) - 1) + [float(LAST_WAIT_S)],
            strict=True,
        )
        for seconds in [float(_seconds(function))]
    ]
    start = _psi(record.drawdown_test.start_pressure.si)
    ended_at = at + timedelta(minutes=40)
    attach_drawdown_recording(
        record,
        file_name=f"{at:%Y%m%d}-drawdown.csv",
        content=as_csv(drawdown_samples(start, drops, seed=record.number)).encode(),
        content_type="text/csv",
        by=by,
        at=ended_at,
    )
    accept_proposed(record, version=_version(record), by=by, at=ended_at)


def _recharge(record: Record, last: Shown, told: Mapping[str, Any], by: User, at: datetime) -> None:
    start = _text(last.at_once + _COMES_BACK_AT_LAST * (last.settled - last.at_once), told)
    facts = RechargeFacts(
        pumps=PumpsRunning.ALL, from_pressure=start, to_pressure=told["start"], seconds=told["recharged_in_s"]
    )
    add_recharge(record, facts=facts, by=by, at=at)


def _test_pumps(site: Site, told: Mapping[str, Any], at: datetime, signer: User) -> None:
    heading = PumpHeading(started_at=at, reason=told["reason"], operator="Demo Mechanic")
    record = open_pump_test(bank=_bank(site, told), heading=heading, instruments=site.instruments[:2], by=signer, at=at)
    for charging in told["chargings"]:
        facts = RechargeFacts(
            pumps=PumpsRunning.ONE_OUT if "out" in charging else PumpsRunning.ALL,
            pump_out=charging.get("out", ""),
            from_pressure=told["from"],
            to_pressure=told["to"],
            seconds=charging["minutes"] * 60.0,
        )
        add_recharge(record, facts=facts, by=signer, at=at)
    for pump in told["pumps"]:
        given = PumpFacts(
            pump=pump["name"],
            duty=PumpDuty(pump["duty"]),
            drive=PumpDrive(pump["drive"]),
            starts_at=pump["starts_at"],
            stops_at=pump["stops_at"],
            air_supply=pump.get("air_supply", ""),
        )
        add_pump(record, facts=given, by=signer, at=at)
    record = _sealed(site, record, at + timedelta(hours=2), signer)
    assert record.passed, f"{record}: {record.pump_test.verdict}"


def _sealed(site: Site, record: Record, concluded_at: datetime, signer: User) -> Record:
    conclude(record, concluded_at=concluded_at, by=signer, at=concluded_at)
    record.refresh_from_db()
    sign_by_all(site, record, concluded_at + _BEFORE_SIGNING)
    return Record.objects.get(pk=record.pk)


def _bank(site: Site, told: Mapping[str, Any]) -> Bank:
    return Bank.objects.select_related("component__rig").get(component=site.components[told["bank"]])


def _version(record: Record) -> int:
    record.refresh_from_db()
    return record.version


def _seconds(function: DrawdownFunction) -> str:
    """Return what the watch showed: by what was worked, a little different each time."""
    usual = _SECONDS.get(ComponentKind(_kind(function.position)), _VALVE_SECONDS)
    return f"{usual + function.order * 3 % 4 * 0.3:.1f}"


def _kind(position: Position | None) -> str:
    assert position is not None  # the demo works what stands in the stack
    return position.kind


def _psi(pascals: float) -> float:
    return from_si(pascals, "psi", Dimension.PRESSURE)


def _text(pascals: float, told: Mapping[str, Any]) -> str:
    """Return a pressure as it was written down: in the unit of the start pressure, to what its gauge tells."""
    unit = read(told["start"], Dimension.PRESSURE, field="start").unit
    shown = Quantity(from_si(pascals, unit, Dimension.PRESSURE), unit)
    return f"{round(shown.value, -1 if unit == 'kPa' else 0):.0f} {unit}"
