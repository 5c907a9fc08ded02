"""Reading what recurs or is called for by events from data: a closed vocabulary, unknown keys refused by their path."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from calcs.errors import InputError
from calcs.fields import Fields
from calcs.recurrence import Interval
from calcs.rule_parts import StatedParts, is_of_kind, read_source, read_stated, under
from calcs.rule_pressures import read_high, read_hold, read_low
from calcs.rules import Occasion, StatedRule
from calcs.schedule_rules import (
    THING_LABELS,
    Decline,
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


def is_schedule_rule(fields: Fields) -> bool:
    """Tell whether a rule of a file is one of these."""
    return is_of_kind(fields, SCHEDULE_RULE_KINDS)


def read_schedule_rules(given: Sequence[Fields]) -> tuple[StatedRule, ...]:
    """Read such rules in order; raises InputError naming the path at fault."""
    return tuple(_schedule_rule(fields) for fields in given)


def _schedule_rule(fields: Fields) -> StatedRule:
    reader = _READERS[fields.choice("kind", SCHEDULE_RULE_KINDS)]
    common = read_stated(fields, _event)
    return under(fields, lambda: reader(fields, common))


def _event(fields: Fields) -> TimedTrigger:
    occasion = Occasion(fields.choice("occasion", _HAPPENS))
    source = read_source(fields)
    before, after = _interval(fields, "before"), _interval(fields, "after")
    return under(fields, lambda: TimedTrigger(occasion, source, before, after))


_HAPPENS: Final = tuple(one for one in Occasion if one is not Occasion.INTERVAL)


def _interval(fields: Fields, key: str) -> Interval | None:
    return fields.read(key, Interval.parse) if fields.has(key) else None


def _scheduled(fields: Fields, common: StatedParts) -> StatedRule:
    return ScheduledRule(
        **common,
        task=Task(fields.choice("task", list(Task))),
        things=fields.choices("things", THING_LABELS),
        low=read_low(fields.object("low")) if fields.has("low") else None,
        high=read_high(fields.object("high")) if fields.has("high") else None,
        hold=read_hold(fields.object("hold")) if fields.has("hold") else None,
        decline=_decline(fields.object("decline")) if fields.has("decline") else None,
        bands=tuple(_band(one) for one in fields.objects("bands")),
        within=fields.si_or_none("within", Dimension.TIME),
        at_most_every=_interval(fields, "at_most_every"),
        renewed_by=tuple(Task(one) for one in fields.choices("renewed_by", list(Task))),
        prerequisites=tuple(Prerequisite(one) for one in fields.choices("prerequisites", list(Prerequisite))),
        evidence=_evidence(fields),
        acceptance=fields.text("acceptance", ""),
        brings_about=fields.choice("brings_about", _HAPPENS) if fields.has("brings_about") else "",
    )


def _decline(fields: Fields) -> Decline:
    fraction, over = fields.si("fraction", Dimension.RATIO), fields.si("over", Dimension.TIME)
    return under(fields, lambda: Decline(fraction, over))


def _band(fields: Fields) -> PrechargeBand:
    given = [fields.si(key, Dimension.PRESSURE) for key in ("working", "lowest", "desired", "highest")]
    return under(fields, lambda: PrechargeBand(*given))


def _evidence(fields: Fields) -> tuple[Needed, ...]:
    return tuple(
        Needed(Evidence(one.choice("what", list(Evidence))), _interval(one, "within"))
        for one in fields.objects("evidence")
    )


def _evidence_rule(fields: Fields, common: StatedParts) -> StatedRule:
    _refuse_calls(common)
    return EvidenceRule(
        **common,
        tasks=tuple(Task(one) for one in fields.choices("tasks", list(Task))),
        things=fields.choices("things", THING_LABELS),
        evidence=_evidence(fields),
    )


def _waiver(fields: Fields, common: StatedParts) -> StatedRule:
    return WaiverRule(
        **common,
        waives=fields.texts("waives"),
        conditions=tuple(WaiverCondition(one) for one in fields.choices("conditions", list(WaiverCondition))),
        occasions=fields.choices("occasions", list(Occasion)),
        until=fields.text("until", ""),
    )


def _postponement(fields: Fields, common: StatedParts) -> StatedRule:
    _refuse_calls(common)
    return PostponementRule(
        **common,
        reasons=tuple(PostponeReason(one) for one in fields.choices("reasons", list(PostponeReason))),
        then=Occasion(fields.choice("then", list(Occasion))),
    )


def _refuse_calls(common: StatedParts) -> None:
    """Refuse an interval or an event of a rule that only says how: another rule calls for the test."""
    if common["recurs"] is not None or common["events"]:
        raise InputError("recurs", "This rule calls for nothing by itself.", "Write the interval as a schedule rule.")


_READERS: Final[Mapping[str, Callable[[Fields, StatedParts], StatedRule]]] = {
    "schedule": _scheduled,
    "evidence": _evidence_rule,
    "waiver": _waiver,
    "postponement": _postponement,
}
SCHEDULE_RULE_KINDS: Final = tuple(_READERS)
"""The kinds of these rules, as files name them."""
