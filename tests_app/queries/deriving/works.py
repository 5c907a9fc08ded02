"""What is owed in work that is no test of its own record: inspections, overhauls, drills, casing tests and their like.

On a stack as a whole, or the rig, it counts from the day the first of what stands there was put in.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final, cast

from django.db.models import Min

from calcs import recurrence
from calcs.recurrence import Event, EventKind, Happened, Tested
from calcs.rules import Edition, Occasion, StackKind
from calcs.schedule_rules import ScheduledRule, Task, rules_on
from equipment.models import RAM_KINDS, Installation, Stack
from tests_app.models import Completion, PartOfSystem, TestReason, What
from tests_app.queries.deriving.called import Called, called_by, latest
from tests_app.queries.deriving.derived import Derived, Subject
from tests_app.queries.deriving.facts import RigFacts
from tests_app.queries.deriving.pressure import is_pressure_ruled, place_of
from tests_app.queries.phases import phase_start

_OF_COMPONENTS: Final[Mapping[What, Task]] = {
    What.INSPECTION: Task.INSPECTION,
    What.ELASTOMER: Task.ELASTOMER,
    What.PRESSURE: Task.PRESSURE,
}
_OF_STACKS: Final[Mapping[What, Task]] = {
    What.INSPECTION: Task.INSPECTION,
    What.OVERHAUL: Task.OVERHAUL,
    What.DOCUMENT: Task.DOCUMENT,
    What.FUNCTION: Task.FUNCTION,
}
_WHOLE: Final = "bop-system"
_LMRP: Final = "lmrp"
_PREVENTERS: Final = RAM_KINDS | {"annular"}
_STOPS: Final = frozenset({What.PRESSURE, What.FUNCTION, What.CASING, What.OVERHAUL})
"""Work without which drilling does not go on; the rest is owed and noted (common practice)."""


def works(facts: RigFacts) -> Iterator[Derived]:
    """Yield what is owed in other work; nothing on a rig without rules."""
    if not isinstance(facts.edition, Edition):
        return
    if facts.chosen:
        if facts.scope.asks(What.OVERHAUL):
            yield from _overhauls(facts, facts.edition)
        for one in facts.chosen:
            yield from _of_component(one, facts, facts.edition)
    stacks = {one.position.stack_id: one.position.stack for one in facts.installed}
    for stack in stacks.values():
        if facts.scope.has_stack(stack.pk):
            yield from _of_stack(stack, facts, facts.edition)
            yield from _of_lmrp(stack, facts, facts.edition)
    if stacks and facts.scope.has_rig:
        yield from _of_rig(facts, facts.edition)
        yield from _casing(facts, facts.edition)


# Components


def _of_component(one: Installation, facts: RigFacts, edition: Edition) -> Iterator[Derived]:
    for what, task in _OF_COMPONENTS.items():
        if not facts.scope.asks(what):
            continue
        if what is What.PRESSURE and is_pressure_ruled(one.component, edition):
            continue  # its own pressure rules ask for it, by records of tests
        rules = facts.rules_on(task, one.component.kind, stack=one.position.stack.kind)
        work = facts.work.get(one.component_id, ())
        happened = {
            Occasion.INSTALLED: one.installed_at,
            Occasion.REPAIRED: latest(event.at for event in work),
        }
        called = called_by(rules, edition, happened) if rules else None
        if called is not None:
            done = facts.component_work.get((what.value, one.component_id), ())
            yield _row(what, place_of(one), called, done, facts, since=one.installed_at)


def _overhauls(facts: RigFacts, edition: Edition) -> Iterator[Derived]:
    """Yield the overhaul of each component, which counts from its own last one: its years can be spread."""
    asked = {
        one.pk: facts.rules_on(Task.OVERHAUL, one.component.kind, stack=one.position.stack.kind) for one in facts.chosen
    }
    ruled = [one for one in facts.chosen if asked[one.pk]]
    first = _first_installed(ruled)
    for one in ruled:
        called = called_by(asked[one.pk], edition, {})
        if called is not None:
            yield _overhaul(one, called, facts, first.get(one.component_id))


def _first_installed(placed: Sequence[Installation]) -> dict[int, datetime]:
    """Return when each component was first put in anywhere. One query."""
    rows = Installation.objects.filter(component__in=[one.component_id for one in placed]).order_by()
    return dict(rows.values_list("component_id").annotate(first=Min("installed_at")))


def _overhaul(one: Installation, called: Called, facts: RigFacts, first: datetime | None) -> Derived:
    done = facts.component_work.get((What.OVERHAUL.value, one.component_id), ())
    start = phase_start(
        one.component,
        overhauls=[row for row in done if row.concluded_at <= facts.at],
        services=[event for event in facts.work.get(one.component_id, ()) if event.at <= facts.at],
        first_installed=first,
        zone=facts.zone,
    )
    subject = place_of(one)
    events: list[Event] = [*_done(done), *facts.deferred(What.OVERHAUL, subject.key)]
    if start is not None:
        events.append(Tested(start.at, start.at, passed=True))
    return Derived(
        what=What.OVERHAUL,
        subject=subject,
        requirement=called.requirement,
        history=tuple(events),
        last_done_at=start.at if start is not None and start.is_done else None,
        counted_as="" if start is None or start.is_done else start.words,
    )


# A stack as a whole


def _of_stack(stack: Stack, facts: RigFacts, edition: Edition) -> Iterator[Derived]:
    since = min(one.installed_at for one in facts.installed if one.position.stack_id == stack.pk)
    subject = Subject(
        key=f"stack-{stack.pk}", name=stack.name, detail="As a whole", part=PartOfSystem.WHOLE, stack=stack
    )
    happened = {Occasion.INSTALLED: since, **_moved(stack, facts)}
    for what, task in _OF_STACKS.items():
        rules = rules_on(edition, task, _WHOLE, stack=cast(StackKind, stack.kind))
        if what is What.OVERHAUL:
            rules = tuple(rule for rule in rules if not _is_by_component(rule))
        called = called_by(rules, edition, happened) if rules else None
        if called is not None:
            done = facts.completions.get(f"{what.value}/{subject.key}", ())
            yield _row(what, subject, called, done, facts, since=since)


def _moved(stack: Stack, facts: RigFacts) -> dict[Occasion, datetime | None]:
    return {
        Occasion.LANDED: facts.reasons.get((stack.pk, TestReason.LANDED)),
        Occasion.STUMP: facts.reasons.get((stack.pk, TestReason.STUMP)),
    }


def _of_lmrp(stack: Stack, facts: RigFacts, edition: Edition) -> Iterator[Derived]:
    """Yield what is owed on the lower marine riser package as a whole, which is no component of its own here.

    That it was latched again is on no file, so what the rules ask then comes up in no row.
    """
    rules = facts.rules_on(Task.FUNCTION, _LMRP, stack=stack.kind)
    called = called_by(rules, edition, _moved(stack, facts)) if rules else None
    if called is None:
        return
    subject = Subject(
        key=f"lmrp-{stack.pk}",
        name="Lower marine riser package",
        detail=stack.name,
        part=PartOfSystem.WHOLE,
        stack=stack,
    )
    done = facts.completions.get(f"{What.FUNCTION.value}/{subject.key}", ())
    yield _row(What.FUNCTION, subject, called, done, facts, since=None)


def _is_by_component(rule: ScheduledRule) -> bool:
    """Tell whether a rule names the preventers too: then the whole is overhauled part by part."""
    return any(set(scope.kinds) & _PREVENTERS for scope in rule.scopes)


# The rig as a whole, and its wells


def _of_rig(facts: RigFacts, edition: Edition) -> Iterator[Derived]:
    kinds = {one.position.stack.kind for one in facts.installed}
    rules = [
        rule for kind in sorted(kinds) for rule in rules_on(edition, Task.DRILL, "crew", stack=cast(StackKind, kind))
    ]
    called = called_by(tuple(dict.fromkeys(rules)), edition, {}) if rules else None
    if called is not None:
        subject = Subject(key=f"rig-{facts.rig.pk}", name="Each crew", part=PartOfSystem.CREW)
        since = min(one.installed_at for one in facts.installed)
        done = facts.completions.get(f"{What.DRILL.value}/{subject.key}", ())
        yield _row(What.DRILL, subject, called, done, facts, since=since)


def _casing(facts: RigFacts, edition: Edition) -> Iterator[Derived]:
    """Yield the test of the casing the section being drilled hangs under: owed since it was drilled out.

    Cementing is on no file here, so a casing not drilled out yet is not asked for.
    """
    section = facts.section
    if section is None or section.casing_shoe_depth is None or section.begins_at is None:
        return
    rules = rules_on(edition, Task.CASING, "casing")
    called_at = {Occasion.BEFORE_DRILL_OUT: section.begins_at, Occasion.CEMENTED: section.begins_at}
    called = called_by(rules, edition, called_at) if rules else None
    if called is None:
        return
    subject = Subject(
        key=f"holesection-{section.pk}",
        name=f"Casing above {section.name}",
        detail=section.well.name,
        part=PartOfSystem.WHOLE,
    )
    done = facts.completions.get(f"{What.CASING.value}/{subject.key}", ())
    if any(row.passed and row.concluded_at <= facts.at for row in done):
        called = replace(called, events=())  # tested before it was drilled out, as the rules ask
    yield _row(What.CASING, subject, called, done, facts, since=None)


# What all of them share


def _row(
    what: What,
    subject: Subject,
    called: Called,
    done: Iterable[Completion],
    facts: RigFacts,
    *,
    since: datetime | None,
) -> Derived:
    known, asked = list(done), called.requirement
    events: list[Event] = [*called.events, *_done(known), *facts.deferred(what, subject.key)]
    lasts_until = None
    if since is not None:
        events.append(Happened(EventKind.INSTALLED, since))
        if asked.interval is not None and asked.deadline is not None:
            lasts_until = recurrence.deadline_after(since, asked.interval, asked.deadline, facts.zone)
    return Derived(
        what=what,
        subject=subject,
        requirement=asked,
        history=tuple(events),
        last_done_at=latest(row.concluded_at for row in known if row.passed and row.concluded_at <= facts.at),
        first_owed=called.first_owed,
        stood_too_long_from=lasts_until,
        stops_operations=what in _STOPS,
    )


def _done(rows: Iterable[Completion]) -> Iterator[Event]:
    for row in rows:
        yield Tested(row.started_at, row.concluded_at, row.passed)
