"""What scheduled rules ask of one subject: the strictest interval, and the events on file that call for it.

Only events that are on file call for anything: put in place, landed, on the stump, in service, worked on, put in again.
Others the rules know (a trip, a tour, pipe sheared, a station down) leave no row and no obligation.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from calcs.recurrence import Event, EventKind, Happened
from calcs.rules import Edition, Occasion
from calcs.schedule_rules import ScheduledRule
from tests_app.queries.deriving.derived import Requirement

OCCASION_WORDS: Final[Mapping[Occasion, str]] = {
    Occasion.INSTALLED: "on installation",
    Occasion.REFITTED: "when it was put in again",
    Occasion.REPAIRED: "after work on it",
    Occasion.COMMISSIONED: "on commissioning",
    Occasion.LANDED: "on landing the stack",
    Occasion.STUMP: "on the stump, before running",
    Occasion.BEFORE_DRILL_OUT: "before drilling out",
    Occasion.CEMENTED: "after cementing",
}


@dataclass(frozen=True, slots=True)
class Called:
    """What the rules ask of a subject.

    Attributes:
        requirement: the interval, or the rule events call by.
        events: the events on file that call for it.
        rules: every rule that bears on it, the strictest first.
        first_owed: what calls for it, in words.
    """

    requirement: Requirement
    events: tuple[Event, ...]
    rules: tuple[ScheduledRule, ...]
    first_owed: str


def called_by(
    rules: Sequence[ScheduledRule], edition: Edition, happened: Mapping[Occasion, datetime | None]
) -> Called | None:
    """Return what the rules ask, given when the known occasions came about; None where they ask nothing.

    An event with time left after it (`TimedTrigger.after`) calls at once: what a rule allows is not made up here into
    a date nobody can check, and doing it early breaks nothing.
    """
    known = {occasion: at for occasion, at in happened.items() if at is not None}
    recurring = sorted((rule for rule in rules if rule.recurs is not None), key=_strictness)
    calling = [rule for rule in rules if any(event.occasion in known for event in rule.events)]
    if not recurring and not calling:
        return None
    asked = {event.occasion: event.source.clause for rule in rules for event in rule.events if event.occasion in known}
    events = tuple(Happened(_KINDS.get(occasion, EventKind.INSTALLED), known[occasion]) for occasion in asked)
    return Called(_requirement(recurring, calling, edition), events, tuple(rules), _words(asked))


_KINDS: Final[Mapping[Occasion, EventKind]] = {Occasion.REPAIRED: EventKind.REPAIRED}


def _strictness(rule: ScheduledRule) -> tuple[float, str]:
    return (rule.recurs.interval.roughly_days if rule.recurs else float("inf"), rule.id)


def _requirement(recurring: Sequence[ScheduledRule], calling: Sequence[ScheduledRule], edition: Edition) -> Requirement:
    if recurring:
        rule = recurring[0]
        assert rule.recurs is not None
        return Requirement.recurring(rule.recurs, edition, rule_id=rule.id, title=rule.title)
    return Requirement.called(calling[0], edition, clause="; ".join(dict.fromkeys(rule.clause for rule in calling)))


def _words(asked: Mapping[Occasion, str]) -> str:
    said = [f"{OCCASION_WORDS.get(occasion, occasion.value)} ({clause})" for occasion, clause in asked.items()]
    return f"It is called for {'; '.join(said)}." if said else ""


def latest(moments: Iterable[datetime | None]) -> datetime | None:
    """Return the latest of the moments there are."""
    return max((moment for moment in moments if moment is not None), default=None)
