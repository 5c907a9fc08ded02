"""The bank, its bottles and its timed chargings arranged as they are printed, for drawdown and pump tests alike."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from calcs.units import DISPLAY_UNITS, Dimension, System
from tests_app.documents import figures
from tests_app.documents.calibration import calibration_stands
from tests_app.documents.content import Quantity
from tests_app.documents.drawdown_content import BankContent, BottleContent, RechargeContent, RoundContent
from tests_app.documents.sheet_rows import Fact, Remark

_IN_SERVICE: Final = "in-service"
PASSED, FAILED, OPEN = "passed", "failed", "unknown"
RESULT_WORDS: Final = {PASSED: "Passed", FAILED: "Not passed", OPEN: "Not judged"}


@dataclass(frozen=True, slots=True)
class AskedRow:
    """One thing asked, what was shown of it, and how it stands: `state` is passed, failed or unknown."""

    what: str
    asked: str
    shown: str
    state: str
    word: str
    why: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BottleRow:
    """A bottle with its precharge; `off` is at reference less design."""

    number: int
    serial: str
    gas_volume: str
    in_service: bool
    state: str
    shell_tested: str
    shell_due: str
    read: str
    gas_temperature: str
    at_reference: str
    off: str


@dataclass(frozen=True, slots=True)
class RechargeRow:
    """One timed charging."""

    order: int
    pumps: str
    span: str
    took: str
    allowed: str
    clause: str
    state: str
    word: str
    notes: tuple[str, ...]


def bank_facts(bank: BankContent, system: System) -> Iterator[Fact]:
    """Name what the bank is and what it is set to."""
    serving = [one for one in bank["bottles"] if one["state"]["key"] == _IN_SERVICE]
    identity = " ".join(filter(None, (bank["maker"], bank["model"])))
    yield Fact("Bank", bank["serial"], " ".join(filter(None, (bank["purpose"]["text"], identity))))
    depth = f"at {figures.entered(bank['depth'], system, Dimension.LENGTH)}" if bank["depth"] is not None else ""
    yield Fact("Where it stands", bank["location"]["text"], depth)
    yield Fact("Bottles in service", f"{len(serving)} of {len(bank['bottles'])}", _volumes(serving, system))
    yield Fact(
        "Precharge by design",
        figures.entered(bank["design_precharge"], system),
        f"at {temperature(bank['reference_temperature'], system)}; {_uncapped(bank['precharge_basis']['text'])}",
    )
    if bank["precharge_tolerance"] is not None:
        tolerance = figures.entered(bank["precharge_tolerance"], system)
        yield Fact("Tolerance of the precharge", f"± {tolerance}", bank["tolerance_source"])
    yield Fact("Charged pressure", figures.entered(bank["charged_pressure"], system))
    least = bank["minimum_operating_pressure"]
    yield Fact("Minimum operating pressure", figures.entered(least, system) if least is not None else "Not on file")
    if bank["control_fluid_gradient"] is not None and bank["depth"] is not None:
        yield Fact("Control fluid, gradient", _gradient(bank["control_fluid_gradient"], system))


def bottle_rows(bank: BankContent, system: System) -> tuple[BottleRow, ...]:
    """Return the bottles by their place."""
    return tuple(_bottle_row(one, system) for one in bank["bottles"])


def _bottle_row(one: BottleContent, system: System) -> BottleRow:
    units = DISPLAY_UNITS[system]
    unit = units[Dimension.PRESSURE]
    serving = one["state"]["key"] == _IN_SERVICE
    reason = f": {one['state_reason']}" if one["state_reason"] and not serving else ""
    return BottleRow(
        number=one["number"],
        serial=one["serial"],
        gas_volume=figures.amount(one["gas_volume"], units[Dimension.VOLUME], Dimension.VOLUME, 2),
        in_service=serving,
        state=f"{one['state']['text']}{reason}",
        shell_tested=figures.day_text(one["shell_tested_on"]),
        shell_due=figures.day_text(one["shell_test_due_on"]),
        read=figures.gauge(one["pressure"], unit),
        gas_temperature=figures.amount(one["gas_temperature"], units[Dimension.TEMPERATURE], Dimension.TEMPERATURE, 1),
        at_reference=figures.whole(one["at_reference"], unit),
        off=figures.difference(one["deviation"], unit),
    )


def round_words(found: RoundContent | None) -> str:
    """Say when, by whom and with what the precharge was read."""
    if found is None:
        return "No round of precharge readings was named for this test."
    by = f" by {found['taken_by']}" if found["taken_by"] else ""
    instrument = found["instrument"]
    stands = calibration_stands(instrument)
    due = f", due {figures.day_text(instrument['calibration_due_on'])}" if stands.state == "in-date" else ""
    return (
        f"Read {figures.moment_text(found['taken_at'])}{by}, with {_uncapped(instrument['kind'])} "
        f"{instrument['serial']}. Calibration on that day: {_uncapped(stands.words)}{due}."
    )


def round_warning(found: RoundContent | None) -> Iterator[str]:
    """Name the gauge of the round where it was not in calibration."""
    if found is None:
        return
    stands = calibration_stands(found["instrument"])
    if stands.state != "in-date":
        gauge = f"{found['instrument']['kind']} {found['instrument']['serial']}"
        yield f"{gauge}, with which the precharge was read: {_uncapped(stands.words)}."


def off_design(bank: BankContent, unit: str) -> str:
    """Say how far the bottles in service lie from their design: ``−12 to +35 psi``; empty where none was read."""
    found = [
        (figures.in_unit(deviation, unit), deviation)
        for one in bank["bottles"]
        if one["state"]["key"] == _IN_SERVICE and (deviation := one["deviation"]) is not None
    ]
    if not found:
        return ""
    low, high = (figures.difference(edge(found, key=lambda each: each[0])[1], unit) for edge in (min, max))
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def recharge_rows(recharges: Sequence[RechargeContent], unit: str) -> tuple[RechargeRow, ...]:
    """Return the timed chargings in order."""
    return tuple(_recharge_row(one, unit) for one in recharges)


def _recharge_row(one: RechargeContent, unit: str) -> RechargeRow:
    out = f", {one['pump_out']} out" if one["pump_out"] else ""
    state = state_of(one["outcome"]["key"])
    part = state == PASSED and not one["covers"]
    return RechargeRow(
        order=one["order"],
        pumps=f"{one['pumps']['text']}{out}",
        span=f"{figures.gauge(one['from_pressure'], unit)} to {figures.gauge(one['to_pressure'], unit)}",
        took=figures.duration(one["seconds"]),
        allowed=figures.ABSENT if one["within_s"] is None else figures.duration(one["within_s"]),
        clause=one["clause"],
        state=OPEN if part else state,
        word="In time, part of the way" if part else RESULT_WORDS[state],
        notes=(*one["reasons"], *one["notes"]),
    )


def recharge_asked(row: RechargeRow, unit: str) -> AskedRow:
    """Return a charging as a line of what was asked and shown."""
    asked = "No time is set" if row.allowed == figures.ABSENT else f"No longer than {row.allowed} min"
    return AskedRow(f"Recharge: {row.pumps}", asked, f"{row.took} min, {row.span} {unit}", row.state, row.word)


def recharge_remarks(recharges: Sequence[RechargeContent], bank: BankContent) -> Iterator[Remark]:
    """Give what was remarked of the chargings and of the precharge round."""
    for one in recharges:
        if one["remarks"]:
            yield Remark(f"Recharge {one['order']}", one["remarks"])
    found = bank["precharge_round"]
    if found is not None and found["remarks"]:
        yield Remark("Precharge readings", found["remarks"])


def state_of(outcome: str) -> str:
    """Return how an outcome stands; one still open is not judged."""
    return outcome if outcome in (PASSED, FAILED) else OPEN


def temperature(quantity: Quantity | None, system: System) -> str:
    """Return a temperature in the rig's unit: ``70 °F``."""
    unit = DISPLAY_UNITS[system][Dimension.TEMPERATURE]
    return f"{figures.amount(quantity, unit, Dimension.TEMPERATURE, 1)} {figures.unit_label(unit)}"


def _volumes(serving: Sequence[BottleContent], system: System) -> str:
    unit = DISPLAY_UNITS[system][Dimension.VOLUME]
    label = figures.unit_label(unit)
    each = {figures.amount(one["gas_volume"], unit, Dimension.VOLUME, 2) for one in serving}
    total = sum(figures.in_unit(one["gas_volume"], unit, Dimension.VOLUME) for one in serving)
    of_each = f"{each.pop()} {label} of gas each, " if len(each) == 1 else ""
    return f"{of_each}{figures.number_text(round(total, 1))} {label} in all"


def _gradient(quantity: Quantity, system: System) -> str:
    unit = DISPLAY_UNITS[system][Dimension.PRESSURE_GRADIENT]
    return f"{figures.amount(quantity, unit, Dimension.PRESSURE_GRADIENT, 3)} {unit}"


def _uncapped(words: str) -> str:
    return f"{words[:1].lower()}{words[1:]}"
