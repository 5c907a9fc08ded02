"""What a rule makes of a drawdown, a timed charging and a pump's settings.

Every pressure is gauge, Pa, as the surface gauge reads it; subsea the precharge is the one over the fluid column, so
that both sides of a comparison leave the column out. Times in s. What was not measured counts as not shown: it
fails, in words. Reasons can't know the reader's units, so they name both.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from calcs.bank_rules import (
    AbovePrecharge,
    DrawdownRule,
    FinalPart,
    MinimumOperating,
    PumpSettingRule,
    RechargeRule,
    ResponseLimit,
)
from calcs.closing import check_functions, pressure_words
from calcs.errors import InputError
from calcs.pressures import MAX_PRESSURE
from calcs.rules import Confidence, Source, least_sure
from calcs.units import Dimension, GaugePressure
from calcs.working import Amount, Step

# Below the exactness of any gauge or watch; only so that a limit met to the last digit counts as met.
_ROUNDING_PA: Final = 1.0
_ROUNDING_S: Final = 1e-6
_LONGEST: Final = 86_400.0

NO_DRAWDOWN_RULE: Final = "The rules followed say nothing of a drawdown: there is no final pressure to judge it by."
SURFACE_GAUGE: Final = "Every pressure is as the gauge at surface reads it."
SUBSEA_GAUGE: Final = (
    "Every pressure is as the gauge at surface reads it, and the precharge is the one over the fluid column down to "
    "the bottles."
)


@dataclass(frozen=True, slots=True)
class Worked:
    """One function as it was worked.

    Attributes:
        name: of the function.
        seconds: from activation to seal-off, or None where no time was taken.
        limit: the time the rule allows, or None where no rule speaks of it.
        pressure: of the bank after it, in the state that is judged; None where it was not read.
        minimum: the bank must stand at least at after it; None where nobody asks.
        is_ram: whether its time is one the line valves are compared with.
        is_line_valve: whether it is a hydraulic choke or kill valve.
    """

    name: str
    seconds: float | None = None
    limit: ResponseLimit | None = None
    pressure: GaugePressure | None = None
    minimum: GaugePressure | None = None
    is_ram: bool = False
    is_line_valve: bool = False

    def __post_init__(self) -> None:
        """Refuse times and pressures no function has."""
        if self.seconds is not None and not 0 < self.seconds <= _LONGEST:
            raise InputError("seconds", "The time is not over zero or is longer than a day.", "Give the watch's time.")
        _check_pressure("pressure", self.pressure)
        _check_pressure("minimum_pressure", self.minimum)


@dataclass(frozen=True, slots=True)
class DrawdownCase:
    """A drawdown and what it is judged by.

    Attributes:
        rule: the edition's, or None where it has none.
        start: pressure of the charged bank.
        final: pressure after the last function, in the state that is judged; None where it was not read.
        precharge_measured: mean of the bottles at the gas temperature of the test; None where it was not measured.
        precharge_design: at that same temperature.
        precharge_in_band: whether every bottle lay in its tolerance; None where there is no tolerance.
        minimum_operating: the least the stack works and holds with; None takes the highest of the functions' own.
        functions: in the order worked.
        judged: the state of the gas the pressures were read in; empty where it is not said.
        subsea: whether the bottles stand under a fluid column.
    """

    rule: DrawdownRule | None
    start: GaugePressure
    final: GaugePressure | None
    precharge_measured: GaugePressure | None
    precharge_design: GaugePressure
    precharge_in_band: bool | None
    minimum_operating: GaugePressure | None
    functions: tuple[Worked, ...]
    judged: Literal["", "at-once", "settled"] = ""
    subsea: bool = False

    def __post_init__(self) -> None:
        """Refuse pressures no bank has, and no functions or more than anybody works."""
        check_functions(self.functions)
        for field in ("start", "final", "precharge_measured", "precharge_design", "minimum_operating"):
            _check_pressure(field, getattr(self, field))
        for field in ("start", "precharge_measured", "precharge_design"):
            if getattr(self, field) == 0:
                raise InputError(field, "The pressure is not over zero.", "Give what the gauge read.")


@dataclass(frozen=True, slots=True)
class DrawdownVerdict:
    """A drawdown as judged.

    Attributes:
        passes: true when everything asked was shown.
        final: the final pressure judged, or None.
        limit: the least it may be; None without a rule, or where a figure of it is missing.
        margin: final over limit, Pa; None where either is.
        reasons: why it does not pass, in the order to look at them; empty when it does.
        notes: what the reader must know besides.
        working: how the limit came about.
        clause: every clause used, joined; empty without a rule.
        confidence: how surely the least sure of them is known; None without a rule.
    """

    passes: bool
    final: GaugePressure | None
    limit: GaugePressure | None
    margin: float | None
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    working: tuple[Step, ...]
    clause: str
    confidence: Confidence | None


@dataclass(frozen=True, slots=True)
class RechargeVerdict:
    """A timed charging as judged.

    Attributes:
        passes: true when it covered all the rule asks of it, in time.
        in_time: whether the clock stopped within the rule's time; None without a rule.
        covers: whether it ran the whole way from precharge to rated pressure.
        reasons: why it does not pass; empty when it does.
        notes: what the reader must know besides.
        clause: where the time stands; empty without a rule.
        within: the time allowed, s; None without a rule.
        confidence: how surely it is known; None without a rule.
    """

    passes: bool
    in_time: bool | None
    covers: bool
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    clause: str
    within: float | None
    confidence: Confidence | None


@dataclass(frozen=True, slots=True)
class PumpVerdict:
    """A pump's settings as judged by one rule; the limits in Pa gauge, None where the rule sets none."""

    passes: bool
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    clause: str
    confidence: Confidence | None
    starts_at_least: GaugePressure | None = None
    stops_from: GaugePressure | None = None
    stops_to: GaugePressure | None = None


@dataclass(frozen=True, slots=True)
class _Limit:
    pressure: GaugePressure | None
    reasons: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    working: tuple[Step, ...] = ()


def judge_drawdown(case: DrawdownCase) -> DrawdownVerdict:
    """Return what the rule makes of a drawdown.

    The limit is taken from the measured precharge, but a precharge out of its band fails first: a low one makes the
    200 psi over it easier to keep. Each function's own minimum is looked at in order, since the last pressure alone
    can hide a function that was left short ("Energy Science & Engineering", 2018, doi 10.1002/ese3.203, abstract).

    Raises InputError from the case's own checks only.
    """
    limit = _limit(case)
    reasons = (
        *_precharge_reasons(case),
        *limit.reasons,
        *_final_reasons(case, limit.pressure),
        *_function_reasons(case),
    )
    margin = None if case.final is None or limit.pressure is None else case.final - limit.pressure
    sources = _sources(case)
    return DrawdownVerdict(
        passes=not reasons,
        final=case.final,
        limit=limit.pressure,
        margin=margin,
        reasons=reasons,
        notes=(*limit.notes, *_reading_notes(case), *_reservations(sources)),
        working=(*limit.working, *_margin_step(case.final, limit.pressure)),
        clause="; ".join(dict.fromkeys(source.clause for source in sources)),
        confidence=least_sure(sources) if sources else None,
    )


def judge_recharge(
    rule: RechargeRule | None,
    from_gauge: GaugePressure,
    to_gauge: GaugePressure,
    seconds: float,
    precharge: GaugePressure,
    rated: GaugePressure,
) -> RechargeVerdict:
    """Return what the rule makes of a charging that took `seconds` from one pressure to another.

    A charging that began over the precharge, or ended under the rated pressure, shows less than the rule asks: it does
    not pass however quick it was. Raises InputError naming ``from``, ``to``, ``seconds``, ``precharge``, ``rated``.
    """
    for field, pressure in (("from", from_gauge), ("to", to_gauge), ("precharge", precharge), ("rated", rated)):
        _check_pressure(field, pressure)
    if not to_gauge > from_gauge:
        raise InputError("to", "The bank is charged to no more than it began with.", "Check both pressures.")
    if not rated > precharge:
        raise InputError("rated", "The rated pressure is not over the precharge.", "Check both.")
    if not 0 < seconds <= _LONGEST:
        raise InputError("seconds", "The time is not over zero or is longer than a day.", "Give the watch's time.")
    short = _coverage(from_gauge, to_gauge, precharge, rated)
    if rule is None:
        nothing = "The rules followed set no time for this charging: there is nothing to judge it by."
        return RechargeVerdict(False, None, not short, (nothing,), (), "", None, None)
    in_time = seconds <= rule.within + _ROUNDING_S
    late = () if in_time else (f"It took {_time(seconds)}; the rule allows {_time(rule.within)}.",)
    notes = _noted(rule.note, [Source(rule.clause, rule.confidence)])
    return RechargeVerdict(
        in_time and not short, in_time, not short, (*late, *short), notes, rule.clause, rule.within, rule.confidence
    )


def judge_pump(
    rule: PumpSettingRule | None,
    starts_at: GaugePressure | None,
    stops_at: GaugePressure | None,
    rated: GaugePressure,
    *,
    air_supply: GaugePressure | None = None,
) -> PumpVerdict:
    """Return what one rule makes of where a pump started and stopped by itself.

    `air_supply` is the gauge pressure of the air that drove it. Raises InputError naming ``starts_at``, ``stops_at``,
    ``rated``, ``air_supply``.
    """
    for field, pressure in (("starts_at", starts_at), ("stops_at", stops_at), ("air_supply", air_supply)):
        _check_pressure(field, pressure)
    _check_pressure("rated", rated)
    if not rated > 0:
        raise InputError("rated", "The rated pressure is not over zero.", "Give that of the closing system.")
    if starts_at is not None and stops_at is not None and not stops_at > starts_at:
        raise InputError("stops_at", "A pump stops at more than it started at.", "Check both pressures.")
    if rule is None:
        return PumpVerdict(False, ("The rules followed say nothing of this pump's settings.",), (), "", None)
    starts = None if rule.starts_at_least is None else GaugePressure(rule.starts_at_least * rated)
    lowest, highest = (GaugePressure(one * rated) for one in rule.stops_between) if rule.stops_between else (None,) * 2
    reasons = (
        *_start_reasons(starts_at, starts),
        *_stop_reasons(stops_at, lowest, highest),
        *_air_reasons(air_supply, rule.air_supply),
    )
    notes = _noted(rule.note, [Source(rule.clause, rule.confidence)])
    return PumpVerdict(not reasons, reasons, notes, rule.clause, rule.confidence, starts, lowest, highest)


def _limit(case: DrawdownCase) -> _Limit:
    """Work the greatest of the rule's parts; a part that can't be worked leaves no limit, and says why."""
    if case.rule is None:
        return _Limit(None, (NO_DRAWDOWN_RULE,))
    parts = [_part(part, case) for part in case.rule.final]
    known = [part.pressure for part in parts if part.pressure is not None]
    steps = [step for part in parts for step in part.working]
    complete = len(known) == len(parts)
    pressure = max(known) if complete else None
    if pressure is not None and len(known) > 1:
        listed = ", ".join(f"{{{index}}}" for index in range(len(known)))
        steps.append(
            Step(
                "Final pressure, at least",
                f"the greatest of {listed}",
                tuple(_amount(one) for one in known),
                _amount(pressure),
            )
        )
    return _Limit(
        pressure,
        tuple(reason for part in parts for reason in part.reasons),
        tuple(note for part in parts for note in part.notes),
        tuple(steps),
    )


def _part(part: FinalPart, case: DrawdownCase) -> _Limit:
    if isinstance(part, AbovePrecharge):
        return _above_precharge(part, case)
    if isinstance(part, MinimumOperating):
        return _minimum_operating(case)
    step = Step("Fixed final pressure", "", (), _amount(part.pressure_gauge))
    return _Limit(part.pressure_gauge, (), (), (step,))


def _above_precharge(part: AbovePrecharge, case: DrawdownCase) -> _Limit:
    measured, design = case.precharge_measured, case.precharge_design
    notes: tuple[str, ...] = ()
    if measured is not None and case.precharge_in_band:
        precharge, label = measured, "measured precharge"
    else:
        precharge = design if measured is None else max(measured, design)
        label = "measured precharge" if precharge == measured else "design precharge"
        notes = _unbanded(case)
    pressure = GaugePressure(precharge + part.margin)
    terms = (_amount(precharge), _amount(part.margin))
    return _Limit(pressure, (), notes, (Step("By the precharge", f"{{0}} {label} + {{1}}", terms, _amount(pressure)),))


def _unbanded(case: DrawdownCase) -> tuple[str, ...]:
    if case.precharge_measured is None:
        return ("The limit is counted from the design precharge, since none was measured.",)
    if case.precharge_in_band is None:
        return (
            "No tolerance of the precharge is known: the higher of the measured one, "
            f"{pressure_words(case.precharge_measured)}, and the design's, {pressure_words(case.precharge_design)}, "
            "is taken for the limit.",
        )
    return ("The precharge is out of its band: the higher of measured and design is taken for the limit.",)


def _minimum_operating(case: DrawdownCase) -> _Limit:
    own = [one.minimum for one in case.functions if one.minimum is not None]
    given = case.minimum_operating
    if given is None and not own:
        reason = (
            "The rule asks for the minimum operating pressure, and none is given: with it unknown the final pressure "
            "can't be shown to be enough."
        )
        return _Limit(None, (reason,))
    if given is not None:
        return _Limit(given, (), (), (Step("Minimum operating pressure", "", (), _amount(given)),))
    pressure = max(own)
    note = "The minimum operating pressure is the highest the functions themselves need."
    step = Step("Minimum operating pressure, the functions' highest", "", (), _amount(pressure))
    return _Limit(pressure, (), (note,), (step,))


def _precharge_reasons(case: DrawdownCase) -> tuple[str, ...]:
    measured, design = case.precharge_measured, case.precharge_design
    if measured is None:
        return ("The precharge was not measured before the test: a limit over it can't be trusted.",)
    if case.precharge_in_band is not False:
        return ()
    found = (
        f"The precharge is out of its band: {pressure_words(measured)} measured, {pressure_words(design)} by design."
    )
    eased = " A low precharge makes the limit over it easier to keep." if measured < design else ""
    return (f"{found}{eased} Set it right and test again.",)


def _final_reasons(case: DrawdownCase, limit: GaugePressure | None) -> tuple[str, ...]:
    if case.final is None:
        return ("The final pressure was not read.",)
    if limit is None or case.final >= limit - _ROUNDING_PA:
        return ()
    return (f"The final pressure {pressure_words(case.final)} is under the limit, {pressure_words(limit)}.",)


def _function_reasons(case: DrawdownCase) -> tuple[str, ...]:
    """Look at each function in its order: its pressure, its own minimum, its time."""
    rams = [one.seconds for one in case.functions if one.is_ram and one.seconds is not None]
    fastest = min(rams, default=None)
    found: list[str] = []
    for one in case.functions:
        reasons = (*_pressure_reasons(one, case.start), *_time_reasons(one, fastest))
        found.extend(f"{one.name}: {reason}" for reason in reasons)
    return tuple(found)


def _pressure_reasons(one: Worked, start: GaugePressure) -> tuple[str, ...]:
    if one.pressure is None:
        return ("no pressure was read after it.",)
    if one.pressure > start + _ROUNDING_PA:
        return (f"{pressure_words(one.pressure)} after it is over the start pressure: a pump charged the bank.",)
    if one.minimum is not None and one.pressure < one.minimum - _ROUNDING_PA:
        return (f"{pressure_words(one.pressure)} after it is under the {pressure_words(one.minimum)} it needs.",)
    return ()


def _time_reasons(one: Worked, fastest_ram: float | None) -> tuple[str, ...]:
    limit = one.limit
    if limit is None:
        return ()
    if one.seconds is None:
        return ("no time was taken, and the rule limits it.",)
    found = []
    if limit.within is not None and one.seconds > limit.within + _ROUNDING_S:
        found.append(f"it took {_time(one.seconds)}; the rule allows {_time(limit.within)}.")
    if limit.as_fast_as_rams and fastest_ram is None:
        found.append("no ram was timed in this test to compare it with.")
    elif limit.as_fast_as_rams and fastest_ram is not None and one.seconds > fastest_ram + _ROUNDING_S:
        found.append(f"it took {_time(one.seconds)}, longer than the fastest ram, {_time(fastest_ram)}.")
    return tuple(found)


def _reading_notes(case: DrawdownCase) -> tuple[str, ...]:
    states = {
        "at-once": "Judged by the pressures read at once, with the gas cold from the drop.",
        "settled": "Judged by the pressures read after the wait: they were lower at once, when a stack must close.",
        "": "It is not said whether the pressures were read at once or after a wait.",
    }
    notes = [states[case.judged], SUBSEA_GAUGE if case.subsea else SURFACE_GAUGE]
    read = [one for one in case.functions if one.pressure is not None]
    rose = [
        after.name
        for before, after in pairwise(read)
        if (after.pressure or 0.0) > (before.pressure or 0.0) + _ROUNDING_PA
    ]
    if rose:
        notes.append(f"The pressure rose over {', '.join(rose)}: a pump was running, or the gas re-warmed before it.")
    untimed = [one.name for one in case.functions if one.limit is None]
    if untimed:
        notes.append(f"The rules followed set no time for: {', '.join(untimed)}.")
    return tuple(notes)


def _sources(case: DrawdownCase) -> list[Source]:
    rule = [] if case.rule is None else [Source(case.rule.clause, case.rule.confidence)]
    return rule + [Source(one.limit.clause, one.limit.confidence) for one in case.functions if one.limit is not None]


def _margin_step(final: GaugePressure | None, limit: GaugePressure | None) -> tuple[Step, ...]:
    if final is None or limit is None:
        return ()
    return (Step("Margin", "{0} − {1}", (_amount(final), _amount(limit)), _amount(final - limit)),)


def _coverage(
    from_gauge: GaugePressure, to_gauge: GaugePressure, precharge: GaugePressure, rated: GaugePressure
) -> tuple[str, ...]:
    found = []
    if from_gauge > precharge + _ROUNDING_PA:
        found.append(
            f"It began at {pressure_words(from_gauge)}, over the precharge of {pressure_words(precharge)}: "
            "it shows less than the rule asks."
        )
    if to_gauge < rated - _ROUNDING_PA:
        found.append(f"It ended at {pressure_words(to_gauge)}, under the rated {pressure_words(rated)}.")
    return tuple(found)


def _start_reasons(starts_at: GaugePressure | None, least: GaugePressure | None) -> tuple[str, ...]:
    if least is None:
        return ()
    if starts_at is None:
        return ("Where it starts was not read.",)
    if starts_at >= least - _ROUNDING_PA:
        return ()
    return (f"It started at {pressure_words(starts_at)}, under {pressure_words(least)}.",)


def _stop_reasons(
    stops_at: GaugePressure | None, lowest: GaugePressure | None, highest: GaugePressure | None
) -> tuple[str, ...]:
    if lowest is None or highest is None:
        return ()
    if stops_at is None:
        return ("Where it stops was not read.",)
    if stops_at < lowest - _ROUNDING_PA:
        return (f"It stopped at {pressure_words(stops_at)}, under {pressure_words(lowest)}.",)
    if stops_at > highest + _ROUNDING_PA:
        return (f"It stopped at {pressure_words(stops_at)}, over {pressure_words(highest)}.",)
    return ()


def _air_reasons(air_supply: GaugePressure | None, most: float | None) -> tuple[str, ...]:
    if most is None:
        return ()
    if air_supply is None:
        return ("The pressure of the air that drove it was not read.",)
    if air_supply <= most + _ROUNDING_PA:
        return ()
    return (f"{pressure_words(air_supply)} of air drove it: that it works on {pressure_words(most)} is not shown.",)


def _noted(note: str, sources: Sequence[Source]) -> tuple[str, ...]:
    return (*((note,) if note else ()), *_reservations(sources))


def _reservations(sources: Sequence[Source]) -> tuple[str, ...]:
    unsure = dict.fromkeys(source.clause for source in sources if source.confidence.startswith("memory"))
    return (f"From memory, to be checked against the clause: {'; '.join(unsure)}.",) if unsure else ()


def _time(seconds: float) -> str:
    """Return a time in words: seconds up to two minutes, minutes and seconds beyond."""
    if seconds <= 120:
        return f"{seconds:g} s"
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min" if not rest else f"{minutes} min {rest} s"


def _amount(si: float) -> Amount:
    return Amount(si, Dimension.PRESSURE)


def _check_pressure(field: str, pressure: float | None) -> None:
    # Written so that not-a-number fails too.
    if pressure is not None and not 0 <= pressure <= MAX_PRESSURE:
        raise InputError(field, "The pressure is under zero or absurd.", "Check the value and its unit.")
