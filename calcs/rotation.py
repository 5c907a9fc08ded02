"""Stations and pods used in turn: whether the rules ask for it, which is next, and what has to be so before a test.

The rules are those of `calcs.schedule_rules`: what every test of a task must bring, and what one scheduled task asks.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

from calcs.rules import Confidence, Edition, Occasion, StackKind, StatedRule
from calcs.schedule_rules import Evidence, Prerequisite, ScheduledRule, Task, evidence_for, rules_on

_TURNS: Final = (Evidence.STATIONS_ALTERNATED, Evidence.PODS_ALTERNATED)
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Turns:
    """Which rules ask that stations, and pods, be used in turn; empty where none does."""

    stations: tuple[StatedRule, ...] = ()
    pods: tuple[StatedRule, ...] = ()


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing that has to be so before a test, and the rule that asks for it."""

    prerequisite: Prerequisite
    rule_id: str
    clause: str
    confidence: Confidence


def turns_asked(edition: Edition, what: str, *, stack: StackKind, position: str = "") -> Turns:
    """Return which rules ask that function tests of `what` alternate stations, and pods."""
    asking: list[StatedRule] = list(evidence_for(edition, Task.FUNCTION, what, stack=stack))
    asking += rules_on(edition, Task.FUNCTION, what, stack=stack, position=position)
    stations, pods = (tuple(rule for rule in asking if _asks(rule, turn)) for turn in _TURNS)
    return Turns(stations, pods if stack == "subsea" else ())


def _asks(rule: StatedRule, turn: Evidence) -> bool:
    return any(needed.what is turn for needed in getattr(rule, "evidence", ()))


def statements_for(
    edition: Edition, what: str, *, stack: StackKind, position: str = "", occasion: str = Occasion.INTERVAL
) -> tuple[Statement, ...]:
    """Return what has to be so before a function test of `what` on this occasion, each once."""
    found: dict[Prerequisite, Statement] = {}
    for rule in rules_on(edition, Task.FUNCTION, what, stack=stack, position=position):
        if _called(rule, occasion):
            for one in rule.prerequisites:
                found.setdefault(one, Statement(one, rule.id, rule.clause, rule.confidence))
    return tuple(found.values())


def _called(rule: ScheduledRule, occasion: str) -> bool:
    """Tell whether the occasion calls for the rule; what only events call for is as it is at any of them."""
    occasions = {event.occasion for event in rule.events}
    return occasion in occasions or (rule.recurs is not None and occasion not in occasions)


def next_in_turn(offered: Sequence[T], used: Iterable[T]) -> T | None:
    """Return which of those offered is next: one not used yet, else the one used longest ago; `used` latest first.

    >>> next_in_turn(["drill floor", "remote"], ["drill floor", "remote", "drill floor"])
    'remote'
    >>> next_in_turn(["blue", "yellow"], [])
    'blue'
    """
    last: dict[T, int] = {}
    for place, one in enumerate(used):
        last.setdefault(one, place)
    return max(offered, key=lambda one: last.get(one, len(last) + 1_000_000), default=None)


def is_repeat(this: T | None, used: Sequence[T]) -> bool:
    """Tell whether what is used now was used the time before; `used` latest first.

    >>> is_repeat("blue", ["blue", "yellow"]), is_repeat("blue", []), is_repeat(None, ["blue"])
    (True, False, False)
    """
    return this is not None and bool(used) and used[0] == this
