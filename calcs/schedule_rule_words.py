"""Published rules on what recurs or is called for by events, in words of our own."""

from collections.abc import Iterator, Mapping
from typing import Final

from calcs.rule_words import OCCASION_WORDS, formula_words, hold_words, low_words
from calcs.rules import Occasion, StatedRule
from calcs.schedule_rules import (
    THING_LABELS,
    Evidence,
    EvidenceRule,
    Needed,
    PostponementRule,
    PostponeReason,
    PrechargeBand,
    Prerequisite,
    ScheduledRule,
    Task,
    TimedTrigger,
    WaiverCondition,
    WaiverRule,
)
from calcs.units import Dimension
from calcs.working import Amount

TASK_WORDS: Final = {
    Task.PRESSURE: "Pressure test",
    Task.FUNCTION: "Function test",
    Task.DRAWDOWN: "Drawdown",
    Task.RECHARGE: "Recharge by the pumps",
    Task.PRECHARGE: "Precharge check",
    Task.CASING: "Casing test",
    Task.INSPECTION: "Inspection",
    Task.OVERHAUL: "Overhaul",
    Task.ELASTOMER: "Change of elastomers",
    Task.CALIBRATION: "Calibration",
    Task.DOCUMENT: "Renewal of a document",
    Task.DRILL: "Drill",
    Task.NOTICE: "Notice",
    Task.REPORT: "Report",
}
EVIDENCE_WORDS: Final = {
    Evidence.STATIONS_ALTERNATED: "the control station other than the last time's",
    Evidence.PODS_ALTERNATED: "the pod other than the last time's",
    Evidence.EACH_STATION: "each control station",
    Evidence.EACH_POD: "each pod",
    Evidence.SMALLEST_PIPE: "the smallest pipe in use",
    Evidence.SMALLEST_AND_LARGEST_PIPE: "the smallest and the largest pipe in use",
    Evidence.CLOSING_TIMES: "the closing times",
    Evidence.VOLUMES: "the volumes used",
    Evidence.DISCHARGE_PRESSURES: "the accumulators' discharge pressures throughout",
    Evidence.ROV_RECORD: "a record of the work by ROV",
    Evidence.THIRD_PARTY_STATEMENT: "a statement of an independent third party",
    Evidence.CERTIFICATE: "a certificate",
    Evidence.REPORT: "a written report",
    Evidence.CHART: "a pressure chart",
    Evidence.LINE_UP: "the line-up",
    Evidence.TEST_FLUID: "the test fluid",
}
PREREQUISITE_WORDS: Final = {
    Prerequisite.ROV_ON_BOTTOM: "an ROV on bottom",
    Prerequisite.WELL_SECURED: "the well secured",
    Prerequisite.QUICK_DISCONNECT_POSSIBLE: "a quick disconnect possible",
    Prerequisite.PIPE_CLEAR: "no pipe in the way of what closes",
    Prerequisite.ON_STUMP_AFTER_LONG_REPAIR: "a test on deck first, where the repair took more than 30 days",
}
CONDITION_WORDS: Final = {
    WaiverCondition.STACK_NOT_REMOVED: "the stack was not removed",
    WaiverCondition.PRESSURES_NOT_HIGHER: "the pressures required next are not higher than those last tested to",
    WaiverCondition.WITHIN_INTERVAL: "the interval since the last test has not run out",
    WaiverCondition.NAMED_IN_PERMIT: "it is named in the permit",
    WaiverCondition.LABELLED_ON_PANELS: "it is labelled on every panel",
    WaiverCondition.NOT_IN_USE: "it has no use at present, and none in well control",
    WaiverCondition.WEATHER_OR_SEA: "weather or sea does not allow it",
    WaiverCondition.REASON_RECORDED: "the reason is recorded",
    WaiverCondition.REGULATOR_APPROVED: "the regulator approved it, with the reference on file",
    WaiverCondition.HEALTH_MONITORING_PLAN: "a plan that monitors the stack's health is followed",
}
REASON_WORDS: Final = {
    PostponeReason.LOSSES: "losses",
    PostponeReason.INFLUX: "an influx",
    PostponeReason.STUCK_PIPE: "stuck pipe",
}


def asked_of(rule: StatedRule, titles: Mapping[str, str] | None = None) -> Iterator[tuple[str, str]]:
    """Give what a rule asks, each figure with what it is about; `titles` by id name the rules a waiver is for.

    >>> from calcs.rules import Confidence, EventTrigger, Source
    >>> trip = EventTrigger(Occasion.TRIP, Source("c", Confidence.READ))
    >>> rams = ScheduledRule(id="r", clause="c", title="t", confidence=Confidence.READ,
    ...     task=Task.FUNCTION, things=("bop-system",), events=(trip,))
    >>> list(asked_of(rams))
    [('Task', 'Function test')]
    """
    match rule:
        case ScheduledRule():
            yield "Task", TASK_WORDS[rule.task]
            yield from _figures(rule)
            yield from _ways(rule)
        case EvidenceRule():
            yield "For", _listed([TASK_WORDS[task].lower() for task in rule.tasks])
            yield "Evidence", needed_words(rule.evidence)
        case WaiverRule():
            yield from _waived(rule, titles or {})
        case PostponementRule():
            yield "Reasons accepted", f"{_listed([REASON_WORDS[one] for one in rule.reasons])}, and no other"
            yield "Then", f"Made {OCCASION_WORDS[rule.then]}; the date it was due on stays on file"


def things_words(things: tuple[str, ...]) -> str:
    """Return what a rule is about beside components.

    >>> things_words(("crew",))
    'Each crew'
    """
    words = _listed([THING_LABELS[one] for one in things])
    return f"{words[:1].upper()}{words[1:]}"


def needed_words(evidence: tuple[Needed, ...]) -> str:
    """Return the evidence a test must bring.

    >>> from calcs.recurrence import Interval
    >>> needed_words((Needed(Evidence.EACH_STATION, Interval.parse("7 d")),))
    'Each control station within 7 days'
    """
    words = _listed([_needed(one) for one in evidence])
    return f"{words[:1].upper()}{words[1:]}"


def event_words(trigger: TimedTrigger) -> str:
    """Return when something is called for by an event, with the time it leaves."""
    words = OCCASION_WORDS[trigger.occasion]
    if trigger.before is not None:
        return f"{words}, by at least {trigger.before.words}"
    return f"{words}, within {trigger.after.words}" if trigger.after is not None else words


def _figures(rule: ScheduledRule) -> Iterator[tuple[str, str]]:
    if rule.low is not None:
        yield "Low test", low_words(rule.low)
    if rule.high is not None:
        yield "Pressure", formula_words(rule.high.formula)
        if rule.high.alternative is not None:
            yield "Where approved", formula_words(rule.high.alternative)
    if rule.hold is not None:
        yield "Hold", hold_words(rule.hold)
    if rule.decline is not None:
        share, minutes = rule.decline.fraction * 100, rule.decline.over / 60
        yield "Fall allowed", f"At most {share:g} % in {minutes:g} min" if share else f"None in {minutes:g} min"
    for band in rule.bands:
        yield "Precharge", _band_words(band)
    if rule.within is not None:
        yield "Time", f"Done within {_time_words(rule.within)}"


def _ways(rule: ScheduledRule) -> Iterator[tuple[str, str]]:
    if rule.at_most_every is not None:
        yield "Not oftener", f"Once in {rule.at_most_every.words} is enough"
    if rule.renewed_by:
        others = _listed([f"a {TASK_WORDS[task].lower()}" for task in rule.renewed_by])
        yield "Renewed by", f"Also by {others}, for what it worked and from where it was worked"
    if rule.prerequisites:
        yield "Only with", _listed([PREREQUISITE_WORDS[one] for one in rule.prerequisites])
    if rule.evidence:
        yield "Evidence", needed_words(rule.evidence)
    if rule.brings_about:
        yield "Begins a time", f"What is asked {OCCASION_WORDS[Occasion(rule.brings_about)]} counts from it"


def _waived(rule: WaiverRule, titles: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    waived = "; ".join(titles.get(one, one) for one in rule.waives)
    occasions = f": {_listed([OCCASION_WORDS[Occasion(one)] for one in rule.occasions])}" if rule.occasions else ""
    yield "Stands in for" if rule.recurs else "Waives", f"{waived}{occasions}"
    yield "Only if all", "; ".join(CONDITION_WORDS[one] for one in rule.conditions)
    if rule.until:
        yield "Until", rule.until.removesuffix(".")


def _needed(one: Needed) -> str:
    words = EVIDENCE_WORDS[one.what]
    return f"{words} within {one.within.words}" if one.within is not None else words


def _band_words(band: PrechargeBand) -> str:
    lowest, highest = _psi(band.lowest), _psi(band.highest)
    return f"{lowest} to {highest}, best {_psi(band.desired)}, where the accumulators work at {_psi(band.working)}"


def _time_words(seconds: float) -> str:
    return f"{seconds:g} s" if seconds < 60 else f"{seconds / 60:g} min"


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]


def _psi(pressure: float) -> str:
    return Amount(pressure, Dimension.PRESSURE).text("us")
