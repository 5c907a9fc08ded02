"""What published rules ask beside pressure tests and accumulators, when it recurs or an event calls for it.

Function tests, inspections, drills, notices and reports; what evidence a test must bring, when a test need not be
made, and why one may wait. `calcs.schedule_rule_files` reads these rules from data in a closed vocabulary. All
pressures are gauge, in Pa; times in s. A lookup that finds no rule is an error that names the fields, never a default.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Literal, TypeVar

from calcs.errors import InputError
from calcs.recurrence import Interval
from calcs.rules import (
    KIND_LABELS,
    Edition,
    EventTrigger,
    High,
    Hold,
    LowBand,
    Occasion,
    Recurrence,
    Scope,
    StackKind,
    StatedRule,
    Subject,
)


class Task(StrEnum):
    """What is to be done."""

    PRESSURE = "pressure"
    FUNCTION = "function"
    DRAWDOWN = "drawdown"
    RECHARGE = "recharge"
    PRECHARGE = "precharge"
    CASING = "casing"
    INSPECTION = "inspection"
    OVERHAUL = "overhaul"
    ELASTOMER = "elastomer"
    CALIBRATION = "calibration"
    DOCUMENT = "document"
    DRILL = "drill"
    NOTICE = "notice"
    REPORT = "report"


THING_LABELS: Final[Mapping[str, str]] = {
    "bop-system": "BOP system as a whole",
    "control-station": "control stations",
    "remote-panel": "remote panels",
    "pod": "control pods",
    "deadman": "deadman",
    "autoshear": "autoshear",
    "emergency-disconnect": "emergency disconnect",
    "rov-intervention": "functions worked by ROV",
    "lmrp": "lower marine riser package",
    "wellhead-connection": "connection of wellhead and stack",
    "casing": "casing and liners",
    "conductor": "conductor",
    "accumulators": "accumulators",
    "nitrogen-backup": "nitrogen backup",
    "crew": "each crew",
    "instrument": "instruments",
    "document": "documents",
}
"""What a rule may be about that is no kind of component, with the trade's word for it."""


class Evidence(StrEnum):
    """What a test must show besides its result."""

    STATIONS_ALTERNATED = "stations-alternated"
    PODS_ALTERNATED = "pods-alternated"
    EACH_STATION = "each-station"
    EACH_POD = "each-pod"
    SMALLEST_PIPE = "smallest-pipe"
    SMALLEST_AND_LARGEST_PIPE = "smallest-and-largest-pipe"
    CLOSING_TIMES = "closing-times"
    VOLUMES = "volumes"
    DISCHARGE_PRESSURES = "discharge-pressures"
    ROV_RECORD = "rov-record"
    THIRD_PARTY_STATEMENT = "third-party-statement"
    CERTIFICATE = "certificate"
    REPORT = "report"
    CHART = "chart"
    LINE_UP = "line-up"
    TEST_FLUID = "test-fluid"


class Prerequisite(StrEnum):
    """What has to be so before the test may begin."""

    ROV_ON_BOTTOM = "rov-on-bottom"
    WELL_SECURED = "well-secured"
    QUICK_DISCONNECT_POSSIBLE = "quick-disconnect-possible"
    PIPE_CLEAR = "pipe-clear"
    ON_STUMP_AFTER_LONG_REPAIR = "on-stump-after-long-repair"


class WaiverCondition(StrEnum):
    """One condition of a waiver; a waiver holds only when every one of its conditions is met."""

    STACK_NOT_REMOVED = "stack-not-removed"
    PRESSURES_NOT_HIGHER = "pressures-not-higher"
    WITHIN_INTERVAL = "within-interval"
    NAMED_IN_PERMIT = "named-in-permit"
    LABELLED_ON_PANELS = "labelled-on-panels"
    NOT_IN_USE = "not-in-use"
    WEATHER_OR_SEA = "weather-or-sea"
    REASON_RECORDED = "reason-recorded"
    REGULATOR_APPROVED = "regulator-approved"
    HEALTH_MONITORING_PLAN = "health-monitoring-plan"


class PostponeReason(StrEnum):
    """Why a test may wait."""

    LOSSES = "losses"
    INFLUX = "influx"
    STUCK_PIPE = "stuck-pipe"


@dataclass(frozen=True, slots=True)
class TimedTrigger(EventTrigger):
    """An event that calls for something, with the time it leaves.

    Attributes:
        before: no later than this long before the event.
        after: no later than this long after it.
    """

    before: Interval | None = None
    after: Interval | None = None

    def __post_init__(self) -> None:
        """Refuse a time both before and after one event."""
        if self.before is not None and self.after is not None:
            raise InputError("before", "One event leaves a time before it or after it.", "Write two events.")


@dataclass(frozen=True, slots=True)
class Needed:
    """Evidence a test must bring, within a time where the rule gives one: both stations within 7 days."""

    what: Evidence
    within: Interval | None = None


@dataclass(frozen=True, slots=True)
class Decline:
    """How far a pressure may fall at most: a fraction of it, over a time in s."""

    fraction: float
    over: float

    def __post_init__(self) -> None:
        """Refuse a fraction outside 0 to 1 and a time of nothing."""
        if not 0 <= self.fraction < 1:
            raise InputError("fraction", "A pressure falls by a part of itself.", "Give for instance 0.10.")
        if self.over <= 0:
            raise InputError("over", "A pressure is watched longer than nothing.", "Give for instance 30 min.")


@dataclass(frozen=True, slots=True)
class PrechargeBand:
    """The precharge allowed for one working pressure of the accumulators, Pa gauge."""

    working: float
    lowest: float
    desired: float
    highest: float

    def __post_init__(self) -> None:
        """Refuse pressures out of order."""
        if not 0 < self.lowest <= self.desired <= self.highest <= self.working:
            raise InputError("lowest", "The pressures are out of order.", "Give lowest, desired, highest, working.")


@dataclass(frozen=True, slots=True, kw_only=True)
class ScheduledRule(StatedRule):
    """Something to be done on an interval or after an event.

    Attributes:
        task: what is to be done.
        things: what it is about, beside the kinds of its scopes.
        low: the low test, where the task has one.
        high: the pressure, where the task has one.
        hold: how long it is held.
        decline: how far the pressure may fall.
        bands: the precharges allowed.
        within: how long the task itself may take, s.
        at_most_every: no oftener than this, whatever the events say.
        renewed_by: other tasks that count for this one, for what they worked and from where they worked it.
        prerequisites: what has to be so first.
        evidence: what it must bring.
        acceptance: what counts as passed, in our words.
        brings_about: the occasion its being done is, from which another rule counts; empty: none.
    """

    task: Task
    things: tuple[str, ...] = ()
    low: LowBand | None = None
    high: High | None = None
    hold: Hold | None = None
    decline: Decline | None = None
    bands: tuple[PrechargeBand, ...] = ()
    within: float | None = None
    at_most_every: Interval | None = None
    renewed_by: tuple[Task, ...] = ()
    prerequisites: tuple[Prerequisite, ...] = ()
    evidence: tuple[Needed, ...] = ()
    acceptance: str = ""
    brings_about: str = ""

    kind: str = "schedule"

    def __post_init__(self) -> None:
        """Refuse a rule about nothing, one nothing calls for, and a task of no time."""
        _refuse_about_nothing(self.scopes, self.things)
        if self.recurs is None and not self.events:
            raise InputError("recurs", "Nothing calls for this.", "Give an interval or an event.")
        if self.within is not None and self.within <= 0:
            raise InputError("within", "A task takes longer than nothing.", "Give for instance 2 min.")


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceRule(StatedRule):
    """What every test of these tasks must bring, whatever rule calls for it."""

    tasks: tuple[Task, ...]
    things: tuple[str, ...] = ()
    evidence: tuple[Needed, ...]

    kind: str = "evidence"

    def __post_init__(self) -> None:
        """Refuse a rule about nothing, for no task, or without evidence."""
        _refuse_about_nothing(self.scopes, self.things)
        if not self.tasks:
            raise InputError("tasks", "The evidence is for no task.", "Give for instance pressure.")
        if not self.evidence:
            raise InputError("evidence", "No evidence is asked for.", "Give at least one.")


@dataclass(frozen=True, slots=True, kw_only=True)
class WaiverRule(StatedRule):
    """When rules need not be followed, or a longer interval (`recurs`) may be followed instead.

    Attributes:
        waives: the ids of the rules.
        occasions: the occasions it waives them for; empty means any.
        conditions: every one of them has to be met.
        until: until when it holds, in our words.
    """

    waives: tuple[str, ...]
    conditions: tuple[WaiverCondition, ...]
    occasions: tuple[str, ...] = ()
    until: str = ""

    kind: str = "waiver"

    def __post_init__(self) -> None:
        """Refuse a waiver of nothing, and one without conditions."""
        if not self.waives:
            raise InputError("waives", "The waiver waives nothing.", "Give the ids of the rules.")
        if not self.conditions:
            raise InputError("conditions", "A waiver has conditions.", "Give every one of them.")

    def unmet(self, met: Collection[str]) -> tuple[WaiverCondition, ...]:
        """Return the conditions that are not among those met; the waiver holds only where there are none."""
        return tuple(one for one in self.conditions if one not in met)


@dataclass(frozen=True, slots=True, kw_only=True)
class PostponementRule(StatedRule):
    """Why a test may wait, and what calls for it then; the date it was due on stays on file.

    Attributes:
        reasons: the only reasons accepted.
        then: what calls for the test that waited.
    """

    reasons: tuple[PostponeReason, ...]
    then: Occasion

    kind: str = "postponement"

    def __post_init__(self) -> None:
        """Refuse a postponement without a reason."""
        if not self.reasons:
            raise InputError("reasons", "No reason is accepted.", "Give at least one.")


@dataclass(frozen=True, slots=True)
class ScheduleChoice:
    """The scheduled rules that apply, the strictest first, all kept.

    Strictest by declared comparison, in this order: the shorter interval, an interval before none, the shorter time
    an event leaves, the id.
    """

    rules: tuple[ScheduledRule, ...]

    @property
    def rule(self) -> ScheduledRule:
        """The strictest rule."""
        return self.rules[0]

    @property
    def recurrence(self) -> Recurrence | None:
        """The shortest interval, None when only events call for it."""
        return self.rule.recurs

    @property
    def evidence(self) -> tuple[Needed, ...]:
        """What any of the rules asks to be shown, each once."""
        return tuple(dict.fromkeys(one for rule in self.rules for one in rule.evidence))


R = TypeVar("R", bound=StatedRule)
Field = Literal["task", "what", "stack", "position", "occasion"]
_FIELDS: Final[tuple[Field, ...]] = ("task", "what", "stack", "position", "occasion")


def scheduled(
    edition: Edition | Sequence[Edition],
    task: str,
    what: str,
    *,
    stack: StackKind = "surface",
    position: str = "",
    occasion: str = Occasion.INTERVAL,
) -> ScheduleChoice:
    """Return the scheduled rules of `edition` (or of several in force together) for one task on one thing.

    `what` is a kind of component or a word of `THING_LABELS`. Raises InputError naming the fields that found no rule.
    """
    _refuse_unknown(what)
    editions = (edition,) if isinstance(edition, Edition) else tuple(edition)
    rules = stated(ScheduledRule, editions)
    misses = {rule.id: _misses(rule, task, what, stack, position, occasion) for rule in rules}
    found = [rule for rule in rules if not misses[rule.id]]
    if not found:
        asked = dict(zip(_FIELDS, (task, what, stack, position, occasion), strict=True))
        raise _none(editions, misses.values(), asked)
    return ScheduleChoice(tuple(sorted(found, key=_strictness)))


def rules_on(
    edition: Edition, task: str, what: str, *, stack: StackKind = "surface", position: str = ""
) -> tuple[ScheduledRule, ...]:
    """Return every scheduled rule for a task on one thing, whatever calls for it. Raises InputError for no thing."""
    _refuse_unknown(what)
    return tuple(
        rule
        for rule in stated(ScheduledRule, (edition,))
        if rule.task == task and not _place_misses(rule.scopes, rule.things, what, stack, position)
    )


def evidence_for(
    edition: Edition | Sequence[Edition], task: str, what: str, *, stack: StackKind = "surface"
) -> tuple[EvidenceRule, ...]:
    """Return the rules on what a test must bring; all of them count together. Raises InputError for no thing."""
    _refuse_unknown(what)
    editions = (edition,) if isinstance(edition, Edition) else tuple(edition)
    return tuple(
        rule
        for rule in stated(EvidenceRule, editions)
        if task in rule.tasks and not _place_misses(rule.scopes, rule.things, what, stack, "")
    )


def waivers_of(edition: Edition, rule_id: str, *, occasion: str = Occasion.INTERVAL) -> tuple[WaiverRule, ...]:
    """Return the waivers the edition has of a rule on an occasion."""
    return tuple(
        rule
        for rule in stated(WaiverRule, (edition,))
        if rule_id in rule.waives and (not rule.occasions or occasion in rule.occasions)
    )


def postponement_of(edition: Edition) -> PostponementRule | None:
    """Return why tests may wait by this edition, None where it says nothing of it."""
    return next(iter(stated(PostponementRule, (edition,))), None)


def stated(wanted: type[R], editions: Iterable[Edition]) -> tuple[R, ...]:
    """Return the rules of that type of several editions, in their order."""
    return tuple(rule for one in editions for rule in one.schedule_rules if isinstance(rule, wanted))


def _misses(
    rule: ScheduledRule, task: str, what: str, stack: StackKind, position: str, occasion: str
) -> frozenset[Field]:
    missed = set(_place_misses(rule.scopes, rule.things, what, stack, position))
    if task != rule.task:
        missed.add("task")
    called = rule.recurs is not None if occasion == Occasion.INTERVAL else occasion in _occasions(rule)
    if not called:
        missed.add("occasion")
    return frozenset(missed)


def _place_misses(
    scopes: Sequence[Scope], things: Collection[str], what: str, stack: StackKind, position: str
) -> frozenset[Field]:
    """Return which of what, stack and position fall outside a rule.

    Beside things, a scope of no kinds says on which stacks they are; it does not take in every component.
    """
    if what in THING_LABELS:
        if what not in things:
            return frozenset({"what"})
        off = all(scope.stacks and stack not in scope.stacks for scope in scopes)
        return frozenset({"stack"}) if scopes and off else frozenset()
    subject = Subject(what, stack, position)
    open_to = [scope for scope in scopes if scope.kinds or not things]
    missed = [scope.mismatches(subject) for scope in open_to]
    fewest = min(missed, key=len, default=frozenset({"kind"}))
    return frozenset(_AS_ASKED[name] for name in fewest if name in _AS_ASKED)


_AS_ASKED: Final[Mapping[str, Field]] = {"kind": "what", "stack": "stack", "position": "position"}


def _occasions(rule: StatedRule) -> frozenset[str]:
    return frozenset(event.occasion for event in rule.events)


def _strictness(rule: ScheduledRule) -> tuple[float, float, str]:
    days = rule.recurs.interval.roughly_days if rule.recurs else float("inf")
    left = [event.after.roughly_days for event in rule.events if isinstance(event, TimedTrigger) and event.after]
    return (days, min(left, default=float("inf")), rule.id)


def _none(editions: Sequence[Edition], misses: Iterable[frozenset[Field]], asked: Mapping[Field, str]) -> InputError:
    named = " and ".join(edition.id for edition in editions) or "an empty rule book"
    fewest = min(misses, key=len, default=frozenset({"task"}))
    at_fault = [name for name in _FIELDS if name in fewest]
    given = ", ".join(f"{name} {asked[name] or 'not given'}" for name in at_fault)
    return InputError(
        at_fault[0],
        f"No rule of {named} was found for: {given}.",
        "Check these fields, or state the requirement in a programme with its approval.",
    )


def _refuse_unknown(what: str) -> None:
    if what not in KIND_LABELS and what not in THING_LABELS:
        listed = ", ".join((*KIND_LABELS, *THING_LABELS))
        raise InputError("what", f"{what!r} is not known here.", f"Give one of: {listed}.")


def _refuse_about_nothing(scopes: Sequence[Scope], things: Sequence[str]) -> None:
    if not scopes and not things:
        raise InputError("scope", "The rule is about nothing.", "Give a scope, or things.")
