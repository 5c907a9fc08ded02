"""What a drawdown shows: measured beside predicted after each function, what the gas says, and the rule's verdict.

Nothing is saved here, so a page can ask while figures are being typed. All in SI; pressures gauge, as the gauge at
surface shows them; where the bottles stand under a fluid column the sums are done at the bottles.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from django.db.models import Exists, OuterRef, QuerySet

from calcs import drawdown, drawdown_words
from calcs.accumulators import Bank as GasBank
from calcs.bank_rules import (
    LINE_VALVE_KINDS,
    RAM_KINDS,
    DrawdownRule,
    PrechargeRule,
    ResponseLimit,
    drawdown_rule,
    precharge_rule,
)
from calcs.drawdown import DrawdownFit
from calcs.drawdown_verdict import DrawdownCase, DrawdownVerdict, Worked, judge_drawdown
from calcs.errors import InputError
from calcs.gas import ChargedGas, Model
from calcs.rules import Confidence, Edition
from calcs.rules import StackKind as RuleStack
from calcs.units import GaugePressure, System
from equipment.models import Bank, Installation, Rig, StackKind
from equipment.queries.banks import banks_of
from tests_app import rulebook
from tests_app.models import DrawdownFunction, GasState, Record, RecordKind
from tests_app.queries.banks_tested import BankTested, read_copy
from tests_app.queries.corrections import keys_corrected

COLD: Final = Model.NITROGEN_ISENTROPIC
WARM: Final = Model.NITROGEN_ISOTHERMAL
IDEAL: Final = Model.BOYLE
MODEL_OF: Final[Mapping[str, Model]] = {GasState.AT_ONCE: COLD, GasState.SETTLED: WARM}
"""The law by which readings of each state are fitted."""
CURVE_POINTS: Final = 41

NO_FUNCTIONS: Final = "No function is entered yet: there is nothing to judge."
NO_START: Final = "The start pressure is not entered yet: there is nothing to compare with."
NO_PRECHARGE: Final = "The precharge at the gas temperature can't be worked out: check the temperature."


@dataclass(frozen=True)
class Reading:
    """Pressures after one function, gauge in Pa, and its time in s, as a page has them before they are saved."""

    at_once: float | None = None
    settled: float | None = None
    seconds: float | None = None


@dataclass(frozen=True)
class ComparisonRow:
    """One function: measured beside predicted. Pressures gauge, Pa; volumes m³; None where there is no figure.

    Attributes:
        drawn: fluid taken from the bank up to and with this function.
        cold, warm, ideal: predicted by nitrogen let out at once, settled nitrogen, and the ideal gas.
        difference_at_once: read at once less `cold`.
        difference_settled: read after the wait less `warm`.
        minimum: the bank must still stand at.
    """

    order: int
    name: str
    volume: float
    drawn: float
    at_once: float | None
    settled: float | None
    cold: float | None
    warm: float | None
    ideal: float | None
    difference_at_once: float | None
    difference_settled: float | None
    minimum: float | None
    seconds: float | None = None


@dataclass(frozen=True)
class SeriesFit:
    """What the readings of one state of the gas say of the bank; `refused` says why they say nothing."""

    state: str
    model: Model
    fit: DrawdownFit | None
    refused: str


@dataclass(frozen=True)
class Comparison:
    """A drawdown as it stands, saved or not.

    Attributes:
        start: of the charged bank; None while it is not entered.
        gas_volume: of the bottles in service, m³.
        bottles: how many are in service.
        bottles_standing: how many stand in the bank.
        temperature: of the charged gas, K; the bank's reference temperature while none is entered.
        temperature_given: whether it was entered.
        precharge: the pressure of the gas alone the predictions start from, at the gas temperature; subsea the one
            over the fluid column.
        precharge_measured: the same as measured; None where no round was read.
        precharge_design: the same by design.
        precharge_in_band: whether every bottle read lay in its tolerance; None without a tolerance or a reading.
        tolerance: that counts, Pa; None where there is none.
        rows: the functions in order.
        judged: the state of the gas that is judged.
        fit: of the readings judged; None where they can't be fitted.
        fit_refused: why not.
        fits: of either state that was read.
        sentence: what the fit says, in the rig's units.
        warnings: what to mind before the sentence is believed.
        verdict: by the rule; None before a start pressure and a function are entered.
        verdict_refused: why there is none.
        rule: the drawdown's rule; None where the edition has none.
        precharge_rule: the rule the tolerance is of, where the bank has none of its own.
        bank: the bank as tested.
    """

    start: float | None
    gas_volume: float
    bottles: int
    bottles_standing: int
    temperature: float
    temperature_given: bool
    precharge: float | None
    precharge_measured: float | None
    precharge_design: float | None
    precharge_in_band: bool | None
    tolerance: float | None
    rows: tuple[ComparisonRow, ...]
    judged: str
    fit: DrawdownFit | None
    fit_refused: str
    fits: tuple[SeriesFit, ...]
    sentence: str
    warnings: tuple[str, ...]
    verdict: DrawdownVerdict | None
    verdict_refused: str
    rule: DrawdownRule | None
    precharge_rule: PrechargeRule | None
    bank: BankTested
    predictions_refused: str = ""
    curves: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    """Predicted curves for a plot: ``cold``, ``warm`` and ``ideal``, each of (drawn, pressure)."""


@dataclass(frozen=True)
class _Gas:
    """The gas charged to the start pressure, by each model that has an answer, and why others have none."""

    bank: GasBank | None
    charged: Mapping[Model, ChargedGas]
    refused: str = ""


def comparison_of(
    record: Record, readings: Mapping[int, Reading] | None = None, *, start: float | None = None
) -> Comparison:
    """Return measured beside predicted, the fit and the verdict of a drawdown.

    `readings` by the order of the function, and `start`, take the place of what is saved: a page asks what figures
    just typed would mean. Never raises for figures: what can't be worked out says why. A constant number of queries.
    """
    test = record.drawdown_test
    bank = read_copy(test.bank_as_tested)
    edition = rulebook.edition(record.edition)
    stack = stack_of(record)
    functions = list(functions_of(record))
    began = start if start is not None else test.start_pressure.si if test.start_pressure else None
    temperature = test.gas_temperature.si if test.gas_temperature else bank.reference_temperature
    given = {one.order: _reading_of(one) for one in functions} | dict(readings or {})
    measured, design = _precharges(bank, temperature)
    gas = _charged(bank, measured if measured is not None else design, began, temperature)
    rows = _rows(functions, given, bank, gas)
    fits = _fits(rows, bank, began, temperature)
    chosen = next((one for one in fits if one.state == test.judged_state), None)
    system = system_of(record.rig)
    tolerated = precharge_rule(edition, stack=stack)
    rule = drawdown_rule(edition, stack=stack)
    in_band = bank.in_band(tolerated)
    case = _case(record, functions, rows, rule, bank, began, measured, design, in_band)
    verdict, verdict_refused = _judged(case)
    return Comparison(
        start=began,
        gas_volume=bank.gas_volume,
        bottles=len(bank.serving),
        bottles_standing=len(bank.bottles),
        temperature=temperature,
        temperature_given=test.gas_temperature is not None,
        precharge=_on_gauge(bank, measured if measured is not None else design),
        precharge_measured=_on_gauge(bank, measured),
        precharge_design=_on_gauge(bank, design),
        precharge_in_band=in_band,
        tolerance=bank.tolerance_by(tolerated),
        rows=rows,
        judged=test.judged_state,
        fit=chosen.fit if chosen else None,
        fit_refused=chosen.refused if chosen else "No pressure is read in the state that is judged.",
        fits=fits,
        sentence=_sentence(chosen, fits, bank, system),
        warnings=tuple(drawdown_words.warnings(chosen.fit)) if chosen and chosen.fit else (),
        verdict=verdict,
        verdict_refused=verdict_refused,
        rule=rule,
        precharge_rule=tolerated,
        bank=bank,
        predictions_refused=gas.refused,
        curves=_curves(bank, gas, rows),
    )


def functions_of(record: Record) -> QuerySet[DrawdownFunction]:
    """Return the functions in order, with what stood in their positions."""
    return record.drawdown_functions.select_related("position", "component").order_by("order")


def stack_of(record: Record) -> RuleStack:
    """Return the kind of the stack as the rules know it."""
    return "subsea" if record.stack.kind == StackKind.SUBSEA else "surface"


def edition_of_record(record: Record) -> Edition:
    """Return the edition the record is judged by."""
    return rulebook.edition(record.edition)


def system_of(rig: Rig) -> System:
    """Return the units the rig reads in."""
    return "si" if rig.display_units == "si" else "us"


def limit_of(function: DrawdownFunction) -> ResponseLimit | None:
    """Return the time a function is allowed, as kept on it; None where no rule speaks of it."""
    kept = function.limits
    if not kept:
        return None
    return ResponseLimit(
        within=kept["within_s"],
        as_fast_as_rams=kept["as_fast_as_rams"],
        rule_id=kept["rule_id"],
        clause=kept["clause"],
        confidence=Confidence(kept["confidence"]),
        note=kept["note"],
    )


def banks_to_test(rig: Rig) -> QuerySet[Bank]:
    """Return the banks of a rig that stand in one of its stacks now: those a test may be opened for."""
    open_place = Installation.objects.filter(component=OuterRef("component"), removed_at__isnull=True)
    return banks_of(rig).filter(Exists(open_place))


def last_drawdown(bank: Bank) -> Record | None:
    """Return the bank's latest sealed drawdown that no sealed correction replaces, passed or not; None without one."""
    return _last(Record.objects.filter(drawdown_test__bank=bank, kind=RecordKind.DRAWDOWN))


def last_pump_test(bank: Bank) -> Record | None:
    """Return the bank's latest sealed pump test that no sealed correction replaces, passed or not."""
    return _last(Record.objects.filter(pump_test__bank=bank, kind=RecordKind.PUMP))


def tests_of_bank(bank: Bank) -> QuerySet[Record]:
    """Return the drawdown and pump tests of a bank that were not given up, the latest first."""
    own = Record.objects.filter(drawdown_test__bank=bank) | Record.objects.filter(pump_test__bank=bank)
    found = own.filter(discarded_at__isnull=True).defer("content", "superseded_by__content")
    return found.select_related("rig", "superseded_by", "drawdown_test", "pump_test").order_by("-started_at", "-pk")


def _last(records: QuerySet[Record]) -> Record | None:
    sealed = records.filter(sealed_at__isnull=False).exclude(pk__in=keys_corrected(records))
    return sealed.defer("content").order_by("-concluded_at", "-pk").first()


def _reading_of(function: DrawdownFunction) -> Reading:
    at_once, settled = function.pressure_at_once, function.pressure_settled
    return Reading(at_once.si if at_once else None, settled.si if settled else None, function.seconds)


def _precharges(bank: BankTested, temperature: float) -> tuple[GaugePressure | None, GaugePressure | None]:
    """Return the precharge at the bottle as measured and by design, at the gas temperature; None where unknown."""
    try:
        return bank.measured_at(temperature), bank.design_at(temperature)
    except InputError:
        return None, None


def _on_gauge(bank: BankTested, pressure: GaugePressure | None) -> GaugePressure | None:
    return None if pressure is None else bank.on_gauge(pressure)


def _charged(bank: BankTested, precharge: GaugePressure | None, start: float | None, temperature: float) -> _Gas:
    if start is None:
        return _Gas(None, {}, NO_START)
    if precharge is None:
        return _Gas(None, {}, NO_PRECHARGE)
    charged: dict[Model, ChargedGas] = {}
    refused = ""
    own: GasBank | None = None
    for model in (COLD, WARM, IDEAL):
        try:
            own = bank.model_bank(model, precharge, temperature)
            charged[model] = own.gas(GaugePressure(start))
        except InputError as error:
            refused = str(error)
    return _Gas(own, charged, refused)


def _predicted(gas: _Gas, model: Model, bank: BankTested, drawn: float) -> float | None:
    """Return the pressure on the surface gauge once so much is drawn; None where the bank can't have given it."""
    charged = gas.charged.get(model)
    if charged is None:
        return None
    try:
        return charged.pressure_at(charged.charged_ratio + drawn / bank.gas_volume) - bank.head
    except InputError:
        return None


def _rows(
    functions: Sequence[DrawdownFunction], given: Mapping[int, Reading], bank: BankTested, gas: _Gas
) -> tuple[ComparisonRow, ...]:
    drawn = 0.0
    rows = []
    for one in functions:
        drawn += one.volume.si
        read = given[one.order]
        cold, warm, ideal = (_predicted(gas, model, bank, drawn) for model in (COLD, WARM, IDEAL))
        rows.append(
            ComparisonRow(
                order=one.order,
                name=one.name,
                volume=one.volume.si,
                drawn=drawn,
                at_once=read.at_once,
                settled=read.settled,
                cold=cold,
                warm=warm,
                ideal=ideal,
                difference_at_once=_less(read.at_once, cold),
                difference_settled=_less(read.settled, warm),
                minimum=one.minimum_pressure.si if one.minimum_pressure else None,
                seconds=read.seconds,
            )
        )
    return tuple(rows)


def _less(read: float | None, predicted: float | None) -> float | None:
    return None if read is None or predicted is None else read - predicted


def _curves(bank: BankTested, gas: _Gas, rows: Sequence[ComparisonRow]) -> dict[str, tuple[tuple[float, float], ...]]:
    """Return the predicted curves from nothing drawn to the last function, as far as the bank can give."""
    last = rows[-1].drawn if rows else 0.0
    steps = [last * index / (CURVE_POINTS - 1) for index in range(CURVE_POINTS)]
    named = {"cold": COLD, "warm": WARM, "ideal": IDEAL}
    found = {}
    for name, model in named.items():
        points = ((drawn, _predicted(gas, model, bank, drawn)) for drawn in steps)
        found[name] = tuple((drawn, pressure) for drawn, pressure in points if pressure is not None)
    return found


def _fits(
    rows: Sequence[ComparisonRow], bank: BankTested, start: float | None, temperature: float
) -> tuple[SeriesFit, ...]:
    """Fit each state of the gas that was read, by the law that holds for it."""
    if start is None:
        return ()
    series = {
        GasState.AT_ONCE: [(row.drawn, row.at_once) for row in rows],
        GasState.SETTLED: [(row.drawn, row.settled) for row in rows],
    }
    found = []
    for state, points in series.items():
        read = [(drawn, pressure) for drawn, pressure in points if pressure is not None]
        if read:
            found.append(_series_fit(state, read, bank, start, temperature))
    return tuple(found)


def _series_fit(
    state: str, read: Sequence[tuple[float, float]], bank: BankTested, start: float, temperature: float
) -> SeriesFit:
    model = MODEL_OF[state]
    points = [(0.0, start), *read]
    try:
        at_bottles = tuple(
            drawdown.Reading(drawn, bank.at_bottle(GaugePressure(pressure))) for drawn, pressure in points
        )
        test = drawdown.DrawdownTest(at_bottles, bank.nameplate(temperature), model, temperature)
        return SeriesFit(state, model, drawdown.fit_drawdown(test), "")
    except InputError as error:
        return SeriesFit(state, model, None, f"{error.reason} {error.remedy}".strip())


def _sentence(chosen: SeriesFit | None, fits: Sequence[SeriesFit], bank: BankTested, system: System) -> str:
    """Return what the judged readings say of the bank, with which they were where both were taken."""
    if chosen is None:
        return ""
    if chosen.fit is None:
        return f"The readings don't say what gas the bank holds: {chosen.refused}"
    said = [drawdown_words.explanation(chosen.fit, system)]
    read = bank.read_ratio()
    if read is not None:
        said.append(drawdown_words.beside_gauges(chosen.fit, read, len(bank.serving)))
    if len(fits) > 1:
        which = "at once" if chosen.state == GasState.AT_ONCE else "after the wait"
        said.append(f"These are the readings taken {which}, which are judged.")
    if bank.is_subsea:
        said.append("Pressures named here are those at the bottles, with the fluid column.")
    return " ".join(said)


def _case(
    record: Record,
    functions: Sequence[DrawdownFunction],
    rows: Sequence[ComparisonRow],
    rule: DrawdownRule | None,
    bank: BankTested,
    start: float | None,
    measured: GaugePressure | None,
    design: GaugePressure | None,
    in_band: bool | None,
) -> DrawdownCase | str:
    """Return what the verdict is asked of, or why it can't be asked yet."""
    if start is None or not rows:
        return NO_START if start is None else NO_FUNCTIONS
    if design is None:
        return NO_PRECHARGE
    state: Literal["at-once", "settled"] = (
        "settled" if record.drawdown_test.judged_state == GasState.SETTLED else "at-once"
    )
    try:
        worked = tuple(_worked(one, row, state) for one, row in zip(functions, rows, strict=True))
        return DrawdownCase(
            rule=rule,
            start=GaugePressure(start),
            final=worked[-1].pressure,
            precharge_measured=_on_gauge(bank, measured),
            precharge_design=bank.on_gauge(design),
            precharge_in_band=in_band,
            minimum_operating=bank.minimum_operating,
            functions=worked,
            judged=state,
            subsea=bank.is_subsea,
        )
    except InputError as error:
        return f"{error.reason} {error.remedy}".strip()


def _worked(function: DrawdownFunction, row: ComparisonRow, state: str) -> Worked:
    pressure = row.settled if state == GasState.SETTLED else row.at_once
    kind = function.component.kind if function.component else ""
    return Worked(
        name=f"{function.order}. {function.name}",
        seconds=row.seconds,
        limit=limit_of(function),
        pressure=None if pressure is None else GaugePressure(pressure),
        minimum=None if row.minimum is None else GaugePressure(row.minimum),
        is_ram=kind in RAM_KINDS,
        is_line_valve=kind in LINE_VALVE_KINDS,
    )


def _judged(case: DrawdownCase | str) -> tuple[DrawdownVerdict | None, str]:
    return (None, case) if isinstance(case, str) else (judge_drawdown(case), "")
