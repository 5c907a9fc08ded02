"""The figures a rig's own programme may change, each with the rules that have it and which way is stricter.

A closed vocabulary: what is not listed here can't be changed. All pressures are gauge, in Pa; times in s.
"""

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from typing import Any, Final
from zoneinfo import ZoneInfo

from calcs.bank_rules import (
    AbovePrecharge,
    DrawdownRule,
    PrechargeRule,
    PumpSettingRule,
    RechargeRule,
    ResponseRule,
)
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.recurrence import Deadline, Interval, IntervalUnit, deadline_after
from calcs.rule_words import formula_words
from calcs.rules import (
    Approved,
    Confidence,
    Fixed,
    Formula,
    Fraction,
    Greatest,
    High,
    Hold,
    LowBand,
    MaspPlus,
    PressureRule,
    Recurrence,
    Source,
    StatedRule,
)
from calcs.schedule_rule_words import needed_words
from calcs.schedule_rules import Decline, Evidence, EvidenceRule, Needed, ScheduledRule
from calcs.units import Dimension, GaugePressure
from calcs.working import Amount

ChangeableRule = PressureRule | StatedRule


class Figure(StrEnum):
    """What of a rule may be changed."""

    INTERVAL = "interval"
    LOW_BAND = "low-band"
    HIGH_FRACTION = "high-fraction"
    HIGH_MARGIN = "high-margin"
    HIGH_FIXED = "high-fixed"
    HIGH_AT_LEAST = "high-at-least"
    HOLD = "hold"
    LOW_HOLD = "low-hold"
    DECLINE = "decline"
    WITHIN = "within"
    ABOVE_PRECHARGE = "above-precharge"
    LEFT_AT_LEAST = "left-at-least"
    PRECHARGE_TOLERANCE = "precharge-tolerance"
    PUMP_START = "pump-start"
    PUMP_STOP = "pump-stop"
    PUMP_AIR = "pump-air"
    EVIDENCE = "evidence"


class Comparison(StrEnum):
    """How an own value compares with the source's: what is not surely stricter in every case counts as looser."""

    STRICTER = "stricter"
    LOOSER = "looser"
    SAME = "same"


@dataclass(frozen=True, slots=True)
class Band:
    """A low band: from, to, and the pressure over which it is bled to zero and begun again, Pa gauge."""

    lowest: float
    highest: float
    restart_above: float


@dataclass(frozen=True, slots=True)
class Every:
    """An interval and where it ends."""

    interval: Interval
    deadline: Deadline


@dataclass(frozen=True, slots=True)
class FigureKind:
    """One figure of the vocabulary.

    Attributes:
        label: which figure it is, in words.
        direction: which way is stricter, in words.
        belongs: whether a rule has this figure, or may be given it.
        source: the rule's own value; None where it leaves it open.
        read: reads an own value from a change (its key ``own``).
        compare: an own value against the source's, where that is not open.
        put: the rule with the own value; the source says where it stands and that it is own.
        words: a value in words.
        where: the source the rule names for it, None where the rule as a whole is the source.
    """

    label: str
    direction: str
    belongs: Callable[[Any], bool]
    source: Callable[[Any], Any]
    read: Callable[[Fields], Any]
    compare: Callable[[Any, Any], Comparison]
    put: Callable[[Any, Any, Source], Any]
    words: Callable[[Any], str]
    where: Callable[[Any], Source | None] = lambda rule: None


def higher_is_stricter(own: float, source: float) -> Comparison:
    """Compare figures of which more is stricter, within the room conversion of units takes."""
    if abs(own - source) <= 1e-9 * max(abs(own), abs(source)):
        return Comparison.SAME
    return Comparison.STRICTER if own > source else Comparison.LOOSER


def lower_is_stricter(own: float, source: float) -> Comparison:
    """Compare figures of which less is stricter."""
    return higher_is_stricter(-own, -source)


def compare_intervals(own: Every, source: Every) -> Comparison:
    """Compare intervals: stricter only where the date never comes later, whatever the month, the zone and its clocks.

    >>> def every(text: str, deadline: Deadline = Deadline.MIDNIGHT) -> Every:
    ...     return Every(Interval.parse(text), deadline)
    >>> compare_intervals(every("7 d"), every("14 d")).value, compare_intervals(every("28 d"), every("1 month")).value
    ('stricter', 'looser')
    """
    if _never_later(own, source):
        return Comparison.SAME if _never_later(source, own) else Comparison.STRICTER
    return Comparison.LOOSER


def _never_later(one: Every, other: Every) -> bool:
    if one.deadline is other.deadline and _by_calendar(one.interval) == _by_calendar(other.interval):
        return one.interval.roughly_days <= other.interval.roughly_days * (1 + 1e-9)
    return _reach(one)[1] + _CLOCK_CHANGE <= _reach(other)[0] - _CLOCK_CHANGE


_CLOCK_CHANGE: Final = dt.timedelta(hours=3)
"""More than any zone ever puts its clocks on or back."""


def _by_calendar(interval: Interval) -> bool:
    return interval.unit in (IntervalUnit.MONTHS, IntervalUnit.YEARS)


def _reach(every: Every) -> tuple[dt.timedelta, dt.timedelta]:
    """Return the least and the most time from a conclusion to its deadline, clocks unchanged."""
    shortest, longest = _lengths(every.interval)
    midnight = dt.timedelta(days=1 if every.deadline is Deadline.MIDNIGHT else 0)
    return shortest, longest + midnight


_FIRST_DAYS: Final = (dt.datetime(2000, 1, 1, tzinfo=dt.UTC), dt.datetime(2097, 1, 1, tzinfo=dt.UTC))
"""The second is four years around 2100, which is no leap year."""


@lru_cache(maxsize=256)
def _lengths(interval: Interval) -> tuple[dt.timedelta, dt.timedelta]:
    """Return the shortest and the longest an interval ever is, whatever leap days lie in it."""
    if not _by_calendar(interval):
        days = dt.timedelta(days=interval.roughly_days)
        return days, days
    utc = ZoneInfo("UTC")
    begun = [first + dt.timedelta(days=day) for first in _FIRST_DAYS for day in range(4 * 366)]
    lengths = [deadline_after(one, interval, Deadline.EXACT, utc) - one for one in begun]
    return min(lengths), max(lengths)


def _compare_bands(own: Band, source: Band) -> Comparison:
    """Stricter: no wider anywhere, and begun again from no higher pressure."""
    each = {
        higher_is_stricter(own.lowest, source.lowest),
        lower_is_stricter(own.highest, source.highest),
        lower_is_stricter(own.restart_above, source.restart_above),
    }
    if Comparison.LOOSER in each:
        return Comparison.LOOSER
    return Comparison.STRICTER if Comparison.STRICTER in each else Comparison.SAME


def _compare_holds(own: float, source: Hold) -> Comparison:
    """An own hold lasts its time in every case: where the rule has a shorter one too, the same time is stricter."""
    found = higher_is_stricter(own, source.duration)
    return Comparison.STRICTER if found is Comparison.SAME and source.reduced is not None else found


def _compare_fixed(own: float, source: float | Approved) -> Comparison:
    """What the rule leaves to an approval is approved there or here: it needs the reference either way."""
    return Comparison.LOOSER if isinstance(source, Approved) else higher_is_stricter(own, source)


def _compare_evidence(own: tuple[Needed, ...], source: tuple[Needed, ...]) -> Comparison:
    return Comparison.STRICTER if set(own) - set(source) else Comparison.SAME


def _read(dimension: Dimension) -> Callable[[Fields], float]:
    return lambda fields: fields.si("own", dimension)


def _read_every(fields: Fields) -> Every:
    own = fields.object("own")
    return Every(own.read("interval", Interval.parse), Deadline(own.choice("deadline", list(Deadline))))


def _read_band(fields: Fields) -> Band:
    own = fields.object("own")
    lowest, highest = own.si("min", Dimension.PRESSURE), own.si("max", Dimension.PRESSURE)
    restart = own.si_or_none("restart_above", Dimension.PRESSURE)
    return Band(lowest, highest, highest if restart is None else restart)


def _read_evidence(fields: Fields) -> tuple[Needed, ...]:
    named = fields.choices("own", list(Evidence))
    if not named:
        raise InputError(fields.path("own"), "No evidence is named.", "Name at least one kind.")
    return tuple(Needed(Evidence(one)) for one in named)


def _put_interval(rule: Any, own: Every, source: Source) -> Any:
    return replace(rule, recurs=Recurrence(own.interval, own.deadline, source))


def _put_band(rule: Any, own: Band, source: Source) -> Any:
    band = LowBand(GaugePressure(own.lowest), GaugePressure(own.highest), GaugePressure(own.restart_above), source)
    return replace(rule, low=band)


def _put_hold(rule: Any, own: float, source: Source) -> Any:
    low = rule.hold.low if rule.hold is not None and rule.hold.low is not None and rule.hold.low < own else None
    return replace(rule, hold=Hold(own, source, low=low))


def _put_low_hold(rule: Any, own: float, source: Source) -> Any:
    low = None if higher_is_stricter(own, rule.hold.duration) is Comparison.SAME else own
    if rule.hold.reduced is not None:
        raise InputError(
            "own", "This rule has a shorter hold of its own for some tests.", "Change the hold as a whole."
        )
    if low is not None and low > rule.hold.duration:
        raise InputError("own", "The low hold would last longer than the high one.", "Make the hold longer first.")
    return replace(rule, hold=replace(rule.hold, low=low, source=source))


def _put_high(rule: Any, high: High, source: Source) -> Any:
    return replace(rule, high=replace(high, source=source))


def _put_fraction(rule: Any, own: float, source: Source) -> Any:
    return _put_high(rule, replace(rule.high, formula=replace(rule.high.formula, fraction=own)), source)


def _put_margin(rule: Any, own: float, source: Source) -> Any:
    high = rule.high
    if isinstance(high.formula, MaspPlus):
        return _put_high(rule, replace(high, formula=replace(high.formula, margin=own)), source)
    return _put_high(rule, replace(high, alternative=replace(high.alternative, margin=own)), source)


def _put_fixed(rule: Any, own: float, source: Source) -> Any:
    return _put_high(rule, replace(rule.high, formula=Fixed(GaugePressure(own))), source)


def _put_at_least(rule: Any, own: float, source: Source) -> Any:
    """Raise the pressure to a least one; how surely the rest of the formula is known stays as it was."""
    floor, high = Fixed(GaugePressure(own)), rule.high
    alternative = None if high.alternative is None else Greatest((high.alternative, floor))
    known = replace(source, confidence=high.source.confidence)
    return _put_high(rule, High(Greatest((high.formula, floor)), known, alternative), known)


def _put_final(part: type[Any]) -> Callable[[Any, float, Source], Any]:
    def put(rule: Any, own: float, source: Source) -> Any:
        others = tuple(one for one in rule.final if not isinstance(one, part))
        return _noted(replace(rule, final=(*others, part(own))), source)

    return put


def _put_evidence(rule: Any, own: tuple[Needed, ...], source: Source) -> Any:
    return _noted(replace(rule, evidence=tuple(dict.fromkeys((*rule.evidence, *own)))), source)


def _put_plain(name: str) -> Callable[[Any, Any, Source], Any]:
    return lambda rule, own, source: _noted(replace(rule, **{name: own}), source)


def _put_stop(rule: Any, own: float, source: Source) -> Any:
    highest = rule.stops_between[1] if rule.stops_between else 1.0
    return _noted(replace(rule, stops_between=(own, highest)), source)


def _put_decline(rule: Any, own: float, source: Source) -> Any:
    return _noted(replace(rule, decline=Decline(own, rule.decline.over)), source)


def _noted(rule: Any, source: Source) -> Any:
    """Say with the rule as a whole what was changed, where its figures have no source of their own."""
    return replace(rule, note=f"{source.note} {rule.note}".strip())


def _is(*types: type[Any]) -> Callable[[Any], bool]:
    return lambda rule: isinstance(rule, types)


def _high(*types: type[Any]) -> Callable[[Any], bool]:
    return lambda rule: _tested(rule) and rule.high is not None and isinstance(rule.high.formula, types)


_tested: Final = _is(PressureRule, ScheduledRule)


def _margin_of(rule: Any) -> MaspPlus | None:
    terms = () if not _tested(rule) or rule.high is None else (rule.high.formula, rule.high.alternative)
    return next((term for term in terms if isinstance(term, MaspPlus)), None)


def _fixed_of(rule: Any) -> float | Approved:
    formula: Formula = rule.high.formula
    return formula if isinstance(formula, Approved) else formula.pressure_gauge  # type: ignore[union-attr]


def _part_of(rule: DrawdownRule, part: type[Any], name: str) -> float | None:
    return next((getattr(one, name) for one in rule.final if isinstance(one, part)), None)


def _psi(pressure: float) -> str:
    return Amount(pressure, Dimension.PRESSURE).text("us")


def _percent(share: float) -> str:
    return f"{share * 100:g} %"


def _time(seconds: float) -> str:
    return f"{seconds:g} s" if seconds < 60 or seconds % 60 else f"{seconds / 60:g} min"


def _every_words(every: Every) -> str:
    if every.deadline is Deadline.MIDNIGHT:
        return f"{every.interval.words}, to the midnight that ends the last day"
    return f"{every.interval.words}, to the same clock time"


def _band_words(band: Band) -> str:
    return f"{_psi(band.lowest)} to {_psi(band.highest)}, begun again when over {_psi(band.restart_above)}"


def _hold_source_words(hold: Hold | float) -> str:
    if not isinstance(hold, Hold):
        return _time(hold)
    return _time(hold.duration) + (f", {_time(hold.reduced)} in some cases" if hold.reduced is not None else "")


FIGURES: Final[Mapping[Figure, FigureKind]] = {
    Figure.INTERVAL: FigureKind(
        "Interval",
        "Shorter is stricter, and only where it is never later in any month.",
        _is(PressureRule, ScheduledRule, DrawdownRule, RechargeRule, PrechargeRule),
        lambda rule: None if rule.recurs is None else Every(rule.recurs.interval, rule.recurs.deadline),
        _read_every,
        compare_intervals,
        _put_interval,
        _every_words,
        lambda rule: rule.recurs and rule.recurs.source,
    ),
    Figure.LOW_BAND: FigureKind(
        "Low test",
        "A band inside the source's is stricter, and one begun again from a lower pressure.",
        _is(PressureRule),
        lambda rule: rule.low and Band(rule.low.min_gauge, rule.low.max_gauge, rule.low.restart_above_gauge),
        _read_band,
        _compare_bands,
        _put_band,
        _band_words,
        lambda rule: rule.low and rule.low.source,
    ),
    Figure.HIGH_FRACTION: FigureKind(
        "Fraction of the rating",
        "Higher is stricter.",
        _high(Fraction),
        lambda rule: rule.high.formula.fraction,
        _read(Dimension.RATIO),
        higher_is_stricter,
        _put_fraction,
        _percent,
        lambda rule: rule.high.source,
    ),
    Figure.HIGH_MARGIN: FigureKind(
        "Margin over the MASP",
        "Higher is stricter.",
        lambda rule: _margin_of(rule) is not None,
        lambda rule: _margin_of(rule).margin,  # type: ignore[union-attr]
        _read(Dimension.PRESSURE),
        higher_is_stricter,
        _put_margin,
        _psi,
        lambda rule: rule.high.source,
    ),
    Figure.HIGH_FIXED: FigureKind(
        "Test pressure",
        "Higher is stricter; one in place of an approved pressure needs the reference of that approval.",
        _high(Fixed, Approved),
        _fixed_of,
        _read(Dimension.PRESSURE),
        _compare_fixed,
        _put_fixed,
        lambda value: formula_words(value) if isinstance(value, Approved) else _psi(value),
        lambda rule: rule.high.source,
    ),
    Figure.HIGH_AT_LEAST: FigureKind(
        "Least test pressure",
        "Any is stricter: the source's pressure is raised to it where it is lower, up to the weakest part.",
        lambda rule: isinstance(rule, PressureRule),
        lambda rule: None,
        _read(Dimension.PRESSURE),
        higher_is_stricter,
        _put_at_least,
        _psi,
        lambda rule: rule.high.source,
    ),
    Figure.HOLD: FigureKind(
        "Hold",
        "Longer is stricter; an own hold lasts its time in every case.",
        lambda rule: _tested(rule) and rule.high is not None,
        lambda rule: rule.hold,
        _read(Dimension.TIME),
        _compare_holds,
        _put_hold,
        _hold_source_words,
        lambda rule: rule.hold and rule.hold.source,
    ),
    Figure.LOW_HOLD: FigureKind(
        "Low hold",
        "Longer is stricter.",
        lambda rule: isinstance(rule, PressureRule) and rule.hold is not None and rule.hold.reduced is None,
        lambda rule: rule.hold.duration if rule.hold.low is None else rule.hold.low,
        _read(Dimension.TIME),
        higher_is_stricter,
        _put_low_hold,
        _time,
        lambda rule: rule.hold.source,
    ),
    Figure.DECLINE: FigureKind(
        "Fall allowed",
        "Less is stricter.",
        lambda rule: isinstance(rule, ScheduledRule) and rule.decline is not None,
        lambda rule: rule.decline.fraction,
        _read(Dimension.RATIO),
        lower_is_stricter,
        _put_decline,
        _percent,
    ),
    Figure.WITHIN: FigureKind(
        "Time allowed",
        "Shorter is stricter.",
        lambda rule: (
            isinstance(rule, ResponseRule | RechargeRule)
            or (isinstance(rule, ScheduledRule) and rule.within is not None)
        ),
        lambda rule: rule.within,
        _read(Dimension.TIME),
        lower_is_stricter,
        _put_plain("within"),
        _time,
    ),
    Figure.ABOVE_PRECHARGE: FigureKind(
        "Pressure left over the precharge",
        "Higher is stricter.",
        _is(DrawdownRule),
        lambda rule: _part_of(rule, AbovePrecharge, "margin"),
        _read(Dimension.PRESSURE),
        higher_is_stricter,
        _put_final(AbovePrecharge),
        _psi,
    ),
    Figure.LEFT_AT_LEAST: FigureKind(
        "Least pressure left",
        "Higher is stricter.",
        _is(DrawdownRule),
        lambda rule: _part_of(rule, Fixed, "pressure_gauge"),
        _read(Dimension.PRESSURE),
        higher_is_stricter,
        _put_final(Fixed),
        _psi,
    ),
    Figure.PRECHARGE_TOLERANCE: FigureKind(
        "Tolerance of the precharge",
        "Smaller is stricter.",
        _is(PrechargeRule),
        lambda rule: rule.tolerance,
        _read(Dimension.PRESSURE),
        lower_is_stricter,
        _put_plain("tolerance"),
        _psi,
    ),
    Figure.PUMP_START: FigureKind(
        "Pump has started by",
        "Higher is stricter: it starts sooner.",
        _is(PumpSettingRule),
        lambda rule: rule.starts_at_least,
        _read(Dimension.RATIO),
        higher_is_stricter,
        _put_plain("starts_at_least"),
        _percent,
    ),
    Figure.PUMP_STOP: FigureKind(
        "Pump stops no lower than",
        "Higher is stricter.",
        _is(PumpSettingRule),
        lambda rule: rule.stops_between and rule.stops_between[0],
        _read(Dimension.RATIO),
        higher_is_stricter,
        _put_stop,
        _percent,
    ),
    Figure.PUMP_AIR: FigureKind(
        "Air the pump must do with",
        "Less is stricter.",
        _is(PumpSettingRule),
        lambda rule: rule.air_supply,
        _read(Dimension.PRESSURE),
        lower_is_stricter,
        _put_plain("air_supply"),
        _psi,
    ),
    Figure.EVIDENCE: FigureKind(
        "Evidence",
        "More is stricter; what the source asks stays.",
        _is(ScheduledRule, EvidenceRule),
        lambda rule: rule.evidence or None,
        _read_evidence,
        _compare_evidence,
        _put_evidence,
        needed_words,
    ),
}


def own_source(rule: ChangeableRule, where: Source | None, note: str) -> Source:
    """Return the source of an own value: the clause stays that of the source's value, the note says what is own."""
    if where is None:
        return Source(rule.clause, Confidence.GIVEN, f"{note}.", own=True)
    return Source(where.clause, Confidence.GIVEN, f"{note}. {where.note}".strip(), own=True)
