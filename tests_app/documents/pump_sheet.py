"""The sealed content of a pump test arranged as it is printed: every figure already words."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from calcs.units import DISPLAY_UNITS, Dimension
from tests_app.documents import bank_rows, figures
from tests_app.documents.bank_rows import PASSED, RESULT_WORDS, AskedRow, BottleRow, RechargeRow
from tests_app.documents.drawdown_content import PumpContent, PumpReadingContent, SettingContent
from tests_app.documents.sheet_rows import (
    Fact,
    PaperRows,
    Remark,
    common_rows,
    not_in_calibration,
)


@dataclass(frozen=True, slots=True)
class PumpRow:
    """One pump and where it started and stopped by itself; `asks` says what each rule asks."""

    pump: str
    kind: str
    starts: str
    stops: str
    air: str
    asks: tuple[str, ...]
    state: str
    word: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PumpSheet(PaperRows):
    """All that the template prints."""

    content: PumpContent
    unit: str
    temperature_unit: str
    volume_unit: str
    bank: str
    asked: tuple[AskedRow, ...]
    reasons: tuple[str, ...]
    alarms: tuple[str, ...]
    facts: tuple[Fact, ...]
    pumps: tuple[PumpRow, ...]
    recharges: tuple[RechargeRow, ...]
    notes: tuple[str, ...]
    bank_facts: tuple[Fact, ...]
    reference: str
    bottles: tuple[BottleRow, ...]
    remarks: tuple[Remark, ...]


def pump_sheet(content: PumpContent) -> PumpSheet:
    """Arrange the content."""
    system = content["rig"]["display_units"]
    units = DISPLAY_UNITS[system]
    unit = units[Dimension.PRESSURE]
    bank = content["bank"]
    recharges = bank_rows.recharge_rows(content["recharges"], unit)
    pumps = tuple(_pump_row(one, unit) for one in content["pumps"])
    return PumpSheet(
        **common_rows(content),
        content=content,
        unit=unit,
        temperature_unit=figures.unit_label(units[Dimension.TEMPERATURE]),
        volume_unit=figures.unit_label(units[Dimension.VOLUME]),
        bank=f"{bank['purpose']['text'].lower()} {bank['serial']}",
        asked=tuple(_asked(recharges, pumps, unit)),
        reasons=tuple(content["verdict"]["reasons"]),
        alarms=(*content.get("alarms", ()), *not_in_calibration(content)),
        facts=tuple(_facts(content)),
        pumps=pumps,
        recharges=recharges,
        notes=tuple(_notes(content)),
        bank_facts=tuple(bank_rows.bank_facts(bank, system)),
        reference=bank_rows.temperature(bank["reference_temperature"], system),
        bottles=bank_rows.bottle_rows(bank, system),
        remarks=tuple(_remarks(content)),
    )


def _asked(recharges: Sequence[RechargeRow], pumps: Sequence[PumpRow], unit: str) -> Iterator[AskedRow]:
    for row in recharges:
        yield bank_rows.recharge_asked(row, unit)
    for pump in pumps:
        asked = " ".join(pump.asks) or "The rules followed ask nothing of it"
        yield AskedRow(f"Setting: {pump.pump}", asked, _shown(pump, unit), pump.state, pump.word)


def _shown(pump: PumpRow, unit: str) -> str:
    read = ((pump.starts, "Started at"), (pump.stops, "stopped at"), (pump.air, "driven by air of"))
    said = ", ".join(f"{words} {figure} {unit}" for figure, words in read if figure != figures.ABSENT)
    return f"{said[:1].upper()}{said[1:]}" or "Nothing was read"


def _pump_row(one: PumpReadingContent, unit: str) -> PumpRow:
    state = bank_rows.state_of(one["outcome"]["key"])
    return PumpRow(
        pump=one["pump"],
        kind=f"{one['duty']['text']}, {one['drive']['text'][:1].lower()}{one['drive']['text'][1:]}",
        starts=figures.gauge(one["starts_at"], unit),
        stops=figures.gauge(one["stops_at"], unit),
        air=figures.gauge(one["air_supply"], unit),
        asks=tuple(_asks(setting, unit) for setting in one["settings"]),
        state=state,
        word="As asked" if state == PASSED else RESULT_WORDS[state],
        reasons=tuple(dict.fromkeys(reason for setting in one["settings"] for reason in setting["reasons"])),
    )


def _asks(setting: SettingContent, unit: str) -> str:
    said = []
    if setting["starts_at_least"] is not None:
        said.append(f"starts at {figures.worked_out(setting['starts_at_least'], unit)} {unit} or over")
    if setting["stops_from"] is not None and setting["stops_to"] is not None:
        highest = figures.worked_out(setting["stops_to"], unit, figures.down)
        said.append(f"stops from {figures.worked_out(setting['stops_from'], unit)} to {highest} {unit}")
    if setting["air_supply"] is not None:
        said.append(f"works on air of {figures.worked_out(setting['air_supply'], unit, figures.down)} {unit} or less")
    words = ", ".join(said)
    return f"{words[:1].upper()}{words[1:]}."


def _notes(content: PumpContent) -> Iterator[str]:
    found = list(content["verdict"]["notes"])
    found += [note for pump in content["pumps"] for setting in pump["settings"] for note in setting["notes"]]
    yield from dict.fromkeys(found)


def _facts(content: PumpContent) -> Iterator[Fact]:
    rig, stack, heading = content["rig"], content["stack"], content["heading"]
    yield Fact("Rig", rig["name"], rig["kind"])
    yield Fact("Stack", stack["name"], stack["kind"]["text"])
    yield Fact("Bank charged", content["bank"]["serial"], content["bank"]["purpose"]["text"])
    yield Fact("Begun", figures.moment_text(content["started_at"]), figures.utc_text(content["started_at"]))
    yield Fact("Concluded", figures.moment_text(content["concluded_at"]), figures.utc_text(content["concluded_at"]))
    yield Fact("Reason for the test", heading["reason"]["text"])
    if heading["operator"]:
        yield Fact("Pumps run by", heading["operator"])
    yield Fact("Rated pressure", figures.entered(content["bank"]["charged_pressure"], rig["display_units"]))


def _remarks(content: PumpContent) -> Iterator[Remark]:
    for one in content["pumps"]:
        if one["remarks"]:
            yield Remark(one["pump"], one["remarks"])
    yield from bank_rows.recharge_remarks(content["recharges"], content["bank"])
    if content["remarks"]:
        yield Remark("The whole test", content["remarks"])
