"""What the rules make of the lines of a function test, saved or supposed, with what stands beside them.

The sums are those of `calcs.function_verdicts` and `calcs.rotation`; here they meet the rows, and become what a line
keeps: plain JSON, the words ready to be read.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final

from calcs import function_verdicts as sums
from calcs.bank_rules import Movement
from calcs.rotation import is_repeat, turns_asked
from calcs.rules import Edition, StackKind, StatedRule
from calcs.schedule_rules import Task, rules_on
from calcs.units import Dimension, System, to_si
from equipment.queries.stacks import position_roles, positions_of
from tests_app.models import FunctionLine, Record
from tests_app.queries.drawdowns import edition_of_record, system_of
from tests_app.queries.function_subjects import rule_stack
from tests_app.queries.functioned import Subject, Used, turn_key, used_before

Kept = dict[str, Any]
LOOKED_BACK: Final = timedelta(days=400)
"""How far back earlier tests are looked for: over a year of weekly tests, and the yearly ones."""


@dataclass(frozen=True)
class Circumstances:
    """What of a test decides the verdicts, beside its lines."""

    edition: Edition
    stack: StackKind
    system: System
    roles: Mapping[int, str]
    earlier: Mapping[Subject, Sequence[Used]]


def circumstances_of(record: Record, lines: Iterable[FunctionLine]) -> Circumstances:
    """Return the circumstances of a test. A constant number of queries."""
    known = list(lines)
    return Circumstances(
        edition=edition_of_record(record),
        stack=rule_stack(record.stack),
        system=system_of(record.rig),
        roles=position_roles(positions_of(record.stack)),
        earlier=used_before(
            record.stack_id,
            components={line.component_id for line in known if line.component_id},
            control_items={line.control_item_id for line in known if line.control_item_id},
            before=record.started_at,
            since=record.started_at - LOOKED_BACK,
        ),
    )


def verdicts_of(lines: Sequence[FunctionLine], under: Circumstances) -> list[Kept]:
    """Return what each line came to, in their order. No query."""
    worked = [_worked(line, under) for line in lines]
    fastest = sums.fastest_closing(worked)
    return [
        _kept(line, one, sums.judge_function(under.edition, one, fastest), under)
        for line, one in zip(lines, worked, strict=True)
    ]


def subject_of(line: FunctionLine) -> Subject:
    """Return what a line is about."""
    return ("component", line.component_id) if line.component_id else ("controlitem", line.control_item_id or 0)


def _worked(line: FunctionLine, under: Circumstances) -> sums.FunctionWorked:
    copy = line.subject_as_tested
    ways = sums.Ways(line.worked)
    bore = copy.get("nominal_bore")
    within, clause = _sequence_limit(copy["kind"], ways, under)
    return sums.FunctionWorked(
        kind=copy["kind"],
        stack=under.stack,
        ways=ways,
        moves=tuple(_moved(line, movement) for movement in ways.movements),
        completed=line.completed,
        bore=_si(bore, Dimension.LENGTH),
        sequence_within=within,
        sequence_clause=clause,
    )


def _moved(line: FunctionLine, movement: Movement) -> sums.Moved:
    closing = movement is Movement.CLOSE
    time = line.closing_time if closing else line.opening_time
    volume = line.closing_volume if closing else line.opening_volume
    return sums.Moved(movement, time.si if time else None, volume.si if volume else None)


def _sequence_limit(what: str, ways: sums.Ways, under: Circumstances) -> tuple[float | None, str]:
    if ways is not sums.Ways.SEQUENCE:
        return None, ""
    rules = [rule for rule in rules_on(under.edition, Task.FUNCTION, what, stack=under.stack) if rule.within]
    strictest = min(rules, key=lambda rule: rule.within or 0.0, default=None)
    return (strictest.within, strictest.clause) if strictest else (None, "")


def _si(kept: Mapping[str, str] | None, dimension: Dimension) -> float | None:
    return to_si(float(kept["value"]), kept["unit"], dimension) if kept else None


def _kept(line: FunctionLine, worked: sums.FunctionWorked, verdict: sums.FunctionVerdict, under: Circumstances) -> Kept:
    earlier = under.earlier.get(subject_of(line), ())
    return {
        "passes": verdict.passes,
        "times": [_time(one, earlier) for one in verdict.times],
        "volumes": [words for move in worked.moves if (words := _volume(line, move, under.system))],
        "reasons": list(verdict.reasons),
        "judged_by": verdict.judged_by,
        "notes": list(verdict.notes),
        "turns": [*_turns(line, worked.kind, earlier, under)],
    }


def _time(one: sums.TimeVerdict, earlier: Sequence[Used]) -> Kept:
    field = "closing" if one.movement is Movement.CLOSE else "opening"
    times = [seconds for used in earlier if (seconds := getattr(used, field)) is not None]
    return {
        "movement": one.movement.value,
        "seconds": one.seconds,
        "limit": one.limit,
        "passes": one.passes,
        "margin": one.margin,
        "rule_id": one.rule_id,
        "clause": one.clause,
        "confidence": one.confidence.value if one.confidence else "",
        "words": one.words,
        "trend": sums.trend_words(one.seconds, times),
    }


def _volume(line: FunctionLine, move: sums.Moved, system: System) -> str:
    name = "closing" if move.movement is Movement.CLOSE else "opening"
    words = sums.volume_words(move.volume, _si(line.subject_as_tested.get(f"{name}_volume"), Dimension.VOLUME), system)
    return f"{name.capitalize()}: {words}" if words else ""


def _turns(line: FunctionLine, what: str, earlier: Sequence[Used], under: Circumstances) -> Iterable[Kept]:
    """Point out a station or pod used the time before, where the rules ask that they be used in turn."""
    if line.retest_of_id is not None:
        return
    position = under.roles.get(line.position_id or 0, "")
    asked = turns_asked(under.edition, what, stack=under.stack, position=position)
    for name, rules in (("station", asked.stations), ("pod", asked.pods)):
        kept = line.controls_as_used.get(name)
        used = [(getattr(one, name), one.number) for one in earlier if getattr(one, name)]
        if rules and kept and is_repeat(turn_key(kept), [key for key, _ in used]):
            yield _repeat(name, kept["name"], used[0][1], rules)


def _repeat(name: str, called: str, number: int, rules: Sequence[StatedRule]) -> Kept:
    clauses = "; ".join(dict.fromkeys(rule.clause for rule in rules))
    return {
        "what": name,
        "words": f"The same {name} as the time before, {called} in test {number}: {name}s are used in turn.",
        "clause": clauses,
        "rule_ids": [rule.id for rule in rules],
    }
