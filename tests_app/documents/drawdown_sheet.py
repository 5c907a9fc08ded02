"""The sealed content of a drawdown test arranged as it is printed: every figure already words."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from calcs.units import DISPLAY_UNITS, Dimension
from tests_app.documents import bank_rows, figures
from tests_app.documents.bank_rows import FAILED, OPEN, PASSED, RESULT_WORDS, AskedRow, BottleRow, RechargeRow
from tests_app.documents.content import Quantity
from tests_app.documents.drawdown_content import DrawdownContent, FitContent, FunctionContent, TimeLimitContent
from tests_app.documents.drawdown_plot import description, drawdown_plot
from tests_app.documents.sheet_rows import (
    CONFIDENCE_WORDS,
    Fact,
    PaperRows,
    Remark,
    common_rows,
    not_in_calibration,
)

_MET: Final = -0.001
"""kPa by which the sum of a limit may miss the reading that meets it to the last digit."""
_SOURCES: Final = {"component": "on file", "entered": "typed in", "measured": "measured"}
_FOUND: Final = {"as-nameplate": "As nameplate", "charge-low": "Charge low", "charge-high": "Charge high"}
_LOW: Final = "bottles are shut off or have lost their gas, or the precharge is low"
_HIGH: Final = (
    "the precharge is high, more bottles or other accumulators are open to it, a pump ran, or less fluid was used "
    "than counted"
)


@dataclass(frozen=True, slots=True)
class FunctionRow:
    """A function as it was worked and what was asked of it."""

    order: int
    name: str
    component: str
    volume: str
    source: str
    seconds: str
    allowed: str
    at_once: str
    settled: str
    needs: str
    state: str
    word: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ComparedRow:
    """A function's pressures, read beside predicted."""

    order: int
    name: str
    drawn: str
    at_once: str
    cold: str
    off_cold: str
    settled: str
    warm: str
    off_warm: str
    ideal: str


@dataclass(frozen=True, slots=True)
class FitRow:
    """What the readings of one state of the gas say of the bank."""

    state: str
    law: str
    share: str
    interval: str
    bottles: str
    found: str
    judged: bool


@dataclass(frozen=True, slots=True)
class DrawdownSheet(PaperRows):
    """All that the template prints."""

    content: DrawdownContent
    unit: str
    volume_unit: str
    temperature_unit: str
    bank: str
    final: str
    limit: str
    margin: str
    judged: str
    asked: tuple[AskedRow, ...]
    reasons: tuple[str, ...]
    alarms: tuple[str, ...]
    facts: tuple[Fact, ...]
    functions: tuple[FunctionRow, ...]
    start: str
    compared: tuple[ComparedRow, ...]
    svg: str
    svg_text: str
    fits: tuple[FitRow, ...]
    confidence: str
    unsure: bool
    recharges: tuple[RechargeRow, ...]
    bank_facts: tuple[Fact, ...]
    reference: str
    precharge_at_test: str
    bottles: tuple[BottleRow, ...]
    bottle_round: str
    remarks: tuple[Remark, ...]


def drawdown_sheet(content: DrawdownContent) -> DrawdownSheet:
    """Arrange the content."""
    system = content["rig"]["display_units"]
    units = DISPLAY_UNITS[system]
    unit = units[Dimension.PRESSURE]
    verdict, bank = content["verdict"], content["bank"]
    recharges = bank_rows.recharge_rows(content["recharges"], unit)
    confidence = verdict["confidence"]
    return DrawdownSheet(
        **common_rows(content),
        content=content,
        unit=unit,
        volume_unit=figures.unit_label(units[Dimension.VOLUME]),
        temperature_unit=figures.unit_label(units[Dimension.TEMPERATURE]),
        bank=f"{bank['purpose']['text'].lower()} {bank['serial']}",
        final=figures.held(verdict["final"], unit, figures.down),
        limit=figures.ABSENT if verdict["limit"] is None else figures.worked_out(verdict["limit"], unit),
        margin=figures.held(verdict["margin"], unit, figures.down),
        judged=content["heading"]["judged"]["text"].lower(),
        asked=tuple(_asked(content, recharges, unit)),
        reasons=tuple(verdict["reasons"]),
        alarms=tuple(_alarms(content)),
        facts=tuple(_facts(content)),
        functions=tuple(_function_row(one, unit, units[Dimension.VOLUME]) for one in content["functions"]),
        start=figures.gauge(content["heading"]["start_pressure"], unit),
        compared=tuple(_compared_row(one, unit, units[Dimension.VOLUME]) for one in content["functions"]),
        svg=drawdown_plot(content),
        svg_text=description(content),
        fits=tuple(_fits(content)),
        confidence=CONFIDENCE_WORDS[confidence] if confidence else "",
        unsure=confidence in ("memory", "memory-low"),
        recharges=recharges,
        bank_facts=tuple(bank_rows.bank_facts(bank, system)),
        reference=bank_rows.temperature(bank["reference_temperature"], system),
        precharge_at_test=_precharge_at_test(content, unit),
        bottles=bank_rows.bottle_rows(bank, system),
        bottle_round=bank_rows.round_words(bank["precharge_round"]),
        remarks=tuple(_remarks(content)),
    )


def _asked(content: DrawdownContent, recharges: Sequence[RechargeRow], unit: str) -> Iterator[AskedRow]:
    yield _precharge_asked(content, unit)
    yield _final_asked(content, unit)
    yield _functions_asked(content)
    for row in recharges:
        yield bank_rows.recharge_asked(row, unit)
    if content["fit"] is not None:
        yield _gas_asked(content["fit"])


def _precharge_asked(content: DrawdownContent, unit: str) -> AskedRow:
    judged = content["verdict"]["precharge"]
    tolerance = judged["tolerance"]
    within = (
        f"Each bottle within {figures.worked_out(tolerance, unit, figures.down)} {unit} of design" if tolerance else ""
    )
    off = bank_rows.off_design(content["bank"], unit)
    state = FAILED if judged["measured"] is None else {True: PASSED, False: FAILED, None: OPEN}[judged["in_band"]]
    return AskedRow(
        "Precharge before the test",
        within or "No tolerance is known",
        f"{off} off design" if off else "Not read",
        state,
        RESULT_WORDS[state],
    )


def _final_asked(content: DrawdownContent, unit: str) -> AskedRow:
    verdict = content["verdict"]
    final, limit = verdict["final"], verdict["limit"]
    state = PASSED if _is_met(verdict["margin"]) else FAILED
    return AskedRow(
        "After the last function",
        "No limit is known" if limit is None else f"At least {figures.worked_out(limit, unit)} {unit}",
        f"{figures.held(final, unit, figures.down)} {unit}" if final is not None else "Not read",
        state,
        RESULT_WORDS[state],
    )


def _is_met(margin: Quantity | None) -> bool:
    return margin is not None and figures.in_unit(margin, "kPa") >= _MET


def _functions_asked(content: DrawdownContent) -> AskedRow:
    functions = content["functions"]
    kept = sum(not one["reasons"] for one in functions)
    state = PASSED if functions and kept == len(functions) else FAILED
    return AskedRow(
        "Each function in its order",
        "Its time, its pressure after it",
        f"{kept} of {len(functions)} as asked",
        state,
        RESULT_WORDS[state],
    )


def _gas_asked(fit: FitContent) -> AskedRow:
    usual = fit["found"] == "as-nameplate"
    return AskedRow(
        "Gas the readings show",
        f"No rule; {fit['bottles_standing']} bottles are 100 %",
        f"{figures.percent(fit['gas_charge_ratio']['value'])} ({_interval(fit)})",
        "" if usual else OPEN,
        _FOUND[fit["found"]],
    )


def _interval(fit: FitContent) -> str:
    ratio = fit["gas_charge_ratio"]
    if ratio["high"] is None:
        return f"95 % interval from {figures.percent(ratio['low'])}, no upper limit"
    return f"95 % interval {figures.percent(ratio['low'])} to {figures.percent(ratio['high'])}"


def _alarms(content: DrawdownContent) -> Iterator[str]:
    fit = content["fit"]
    if fit is not None and fit["found"] != "as-nameplate":
        share = figures.percent(fit["gas_charge_ratio"]["value"])
        why = _LOW if fit["found"] == "charge-low" else _HIGH
        yield f"The readings show {share} of the nameplate’s gas ({_interval(fit)}): {why}."
    if fit is None and content["fit_refused"]:
        yield f"The readings don’t say what gas the bank holds: {content['fit_refused']}"
    yield from content.get("alarms", ())
    yield from not_in_calibration(content)
    yield from bank_rows.round_warning(content["bank"]["precharge_round"])


def _facts(content: DrawdownContent) -> Iterator[Fact]:
    rig, stack, section, heading = content["rig"], content["stack"], content["section"], content["heading"]
    system = rig["display_units"]
    yield Fact("Rig", rig["name"], rig["kind"])
    yield Fact("Stack", stack["name"], stack["kind"]["text"])
    yield Fact("Bank", content["bank"]["serial"], content["bank"]["purpose"]["text"])
    if section is not None:
        yield Fact("Well and section", section["well"], section["name"])
    yield Fact("Begun", figures.moment_text(content["started_at"]), figures.utc_text(content["started_at"]))
    yield Fact("Concluded", figures.moment_text(content["concluded_at"]), figures.utc_text(content["concluded_at"]))
    yield Fact("Reason for the test", heading["reason"]["text"])
    yield Fact("Pumps isolated", _isolated(content), f"Seen by {heading['isolation_confirmed_by']}")
    settled = "Settled" if heading["start_settled"] else "Not confirmed as settled"
    yield Fact("Start pressure", figures.entered(heading["start_pressure"], system), settled)
    yield Fact("Gas temperature", bank_rows.temperature(heading["gas_temperature"], system))
    yield Fact("Judged", heading["judged"]["text"], _wait(heading["wait_s"]))
    pipe = heading["pipe_in_hole"]
    yield Fact(
        "Pipe in the hole", figures.entered(pipe, system, Dimension.LENGTH) if pipe is not None else "None named"
    )
    station, pod = heading["control_station"], heading["pod"]
    if station is not None:
        yield Fact("Control station", station["text"], pod["text"] if pod is not None else "")
    if heading["operator"]:
        yield Fact("Functions worked by", heading["operator"])


def _isolated(content: DrawdownContent) -> str:
    heading = content["heading"]
    kinds = (("Electric", heading["electric_pumps_isolated"]), ("air", heading["air_pumps_isolated"]))
    found = [name for name, isolated in kinds if isolated]
    words = " and ".join(found) or "Not confirmed"
    return f"{words[:1].upper()}{words[1:]}"


def _wait(seconds: int | None) -> str:
    return "" if seconds is None else f"Read again after {figures.duration(seconds)} min"


def _function_row(one: FunctionContent, unit: str, volume_unit: str) -> FunctionRow:
    component = one["component"]
    state = FAILED if one["reasons"] else PASSED
    asked = one["limit"] is not None or one["minimum_pressure"] is not None
    return FunctionRow(
        order=one["order"],
        name=one["name"],
        component=" ".join((component["kind"], component["serial"])) if component is not None else "",
        volume=figures.amount(one["volume"], volume_unit, Dimension.VOLUME, 2),
        source=_SOURCES.get(one["volume_from"]["key"], one["volume_from"]["text"]),
        seconds=figures.seconds_text(one["seconds"]),
        allowed=_allowed(one["limit"]),
        at_once=figures.gauge(one["pressure_at_once"], unit),
        settled=figures.gauge(one["pressure_settled"], unit),
        needs=figures.ABSENT if one["minimum_pressure"] is None else figures.worked_out(one["minimum_pressure"], unit),
        state=state if asked or one["reasons"] else "",
        word="As asked" if state == PASSED and asked else RESULT_WORDS[state] if one["reasons"] else "Nothing asked",
        reasons=tuple(one["reasons"]),
    )


def _allowed(limit: TimeLimitContent | None) -> str:
    if limit is None:
        return figures.ABSENT
    within = f"{limit['within_s']:g}" if limit["within_s"] is not None else ""
    return ", ".join(filter(None, (within, "fastest ram" if limit["as_fast_as_rams"] else "")))


def _compared_row(one: FunctionContent, unit: str, volume_unit: str) -> ComparedRow:
    return ComparedRow(
        order=one["order"],
        name=one["name"],
        drawn=figures.amount(one["drawn"], volume_unit, Dimension.VOLUME, 1),
        at_once=figures.gauge(one["pressure_at_once"], unit),
        cold=figures.whole(one["cold"], unit),
        off_cold=figures.difference(one["difference_at_once"], unit),
        settled=figures.gauge(one["pressure_settled"], unit),
        warm=figures.whole(one["warm"], unit),
        off_warm=figures.difference(one["difference_settled"], unit),
        ideal=figures.whole(one["ideal"], unit),
    )


def _fits(content: DrawdownContent) -> Iterator[FitRow]:
    if content["fit"] is not None:
        yield _fit_row(content["fit"], judged=True)
    for each in content["other_fits"]:
        yield _fit_row(each, judged=False)


def _fit_row(fit: FitContent, *, judged: bool) -> FitRow:
    bottles = fit["bottles"]
    high = f" to {figures.number_text(bottles['high'], 1)}" if bottles["high"] is not None else ", no upper limit"
    low = figures.number_text(bottles["low"], 1)
    return FitRow(
        state=fit["state"]["text"],
        law=fit["law"],
        share=figures.percent(fit["gas_charge_ratio"]["value"]),
        interval=_interval(fit).removeprefix("95 % interval "),
        bottles=f"{figures.number_text(bottles['value'], 1)} ({low}{high}) of {fit['bottles_standing']}",
        found=_FOUND[fit["found"]],
        judged=judged,
    )


def _precharge_at_test(content: DrawdownContent, unit: str) -> str:
    judged, heading = content["verdict"]["precharge"], content["heading"]
    if judged["design"] is None:
        return ""
    measured = judged["measured"]
    at = bank_rows.temperature(heading["gas_temperature"], content["rig"]["display_units"])
    found = f"{figures.held(measured, unit)} {unit} measured" if measured is not None else "not measured"
    column = ", over the fluid column," if content["bank"]["depth"] is not None else ""
    return (
        f"At the gas temperature of the test, {at}, the precharge{column} is {found}, the mean of the bottles in "
        f"service; {figures.held(judged['design'], unit)} {unit} by design."
    )


def _remarks(content: DrawdownContent) -> Iterator[Remark]:
    for one in content["functions"]:
        if one["remarks"]:
            yield Remark(f"Function {one['order']}, {one['name']}", one["remarks"])
    yield from bank_rows.recharge_remarks(content["recharges"], content["bank"])
    if content["remarks"]:
        yield Remark("The whole test", content["remarks"])
