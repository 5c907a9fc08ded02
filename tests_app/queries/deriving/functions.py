"""What is owed in function tests: of components in place, and of the control system's own parts.

A new component was never worked where it stands, and work on one opens it: both call for a function test, whatever the
interval (common practice; the rules say so of some). A pressure test counts where a rule lets it, for what it closed.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db.models import Q

from calcs import recurrence
from calcs.recurrence import Event, EventKind, Happened, Tested
from calcs.rules import Edition, Occasion
from calcs.schedule_rules import ScheduledRule, Task
from equipment.models import ControlItem, Installation, Stack
from equipment.queries.controls import in_service_at
from equipment.queries.stacks import position_roles
from tests_app.models import BroughtTest, PartOfSystem, RecordKind, TestReason, What
from tests_app.queries.brought import brought_note, event_of, of_kind
from tests_app.queries.deriving.called import Called, called_by, latest
from tests_app.queries.deriving.derived import Derived, Subject
from tests_app.queries.deriving.facts import RigFacts
from tests_app.queries.deriving.pressure import place_of
from tests_app.queries.deriving.proofs import Proof, Proved, Standing, since_then, standing_of
from tests_app.queries.functioned import CLOSED_FROM_A_STATION, functioned
from tests_app.queries.functioned import Subject as Worked
from tests_app.queries.servicing import as_event


def function_tests(facts: RigFacts) -> Iterator[Derived]:
    """Yield what is owed in function tests; nothing on a rig without rules, which its pressure tests say already."""
    if not isinstance(facts.edition, Edition):
        return
    roles = position_roles(one.position for one in facts.installed)
    asked = [
        (one, _rules(facts, one.component.kind, one.position.stack, roles[one.position.pk])) for one in facts.chosen
    ]
    ruled = [(one, rules) for one, rules in asked if rules]
    items = [(item, _rules(facts, item.kind, item.stack, "")) for item in _items(facts)]
    if not ruled and not any(rules for _, rules in items):
        return
    refits = any(event.occasion == Occasion.REFITTED for _, rules in ruled for rule in rules for event in rule.events)
    history = _History.of(facts, [one for one, _ in ruled], [item for item, rules in items if rules], refits=refits)
    for one, rules in ruled:
        yield from _of_component(one, rules, history)
    for item, rules in items:
        if rules:
            yield from _of_item(item, rules, history)


def _rules(facts: RigFacts, what: str, stack: Stack, role: str) -> Sequence[ScheduledRule]:
    return facts.rules_on(Task.FUNCTION, what, stack=stack.kind, position=role)


def _items(facts: RigFacts) -> list[ControlItem]:
    stacks = {one.position.stack_id: one.position.stack for one in facts.installed}
    rows = ControlItem.objects.filter(in_service_at(facts.at), facts.scope.of_control_items("pk"), stack__in=stacks)
    found = list(rows.order_by("stack", "kind", "name"))
    for item in found:
        item.stack = stacks[item.stack_id]
    return found


@dataclass(frozen=True)
class _History:
    """What was worked, by subject, beside the facts of the rig."""

    facts: RigFacts
    edition: Edition
    worked: dict[Worked, list[Proved]]
    stood_before: frozenset[int]

    @classmethod
    def of(
        cls, facts: RigFacts, placed: Sequence[Installation], items: Sequence[ControlItem], *, refits: bool
    ) -> "_History":
        """Read it; which components stood somewhere before only where a rule asks. Two queries at most."""
        assert isinstance(facts.edition, Edition)
        keys = [one.component_id for one in placed]
        asked = Q(record__rig=facts.rig) & since_then("record", facts.since)
        items_asked = [item.pk for item in items]
        found = facts.functioned if facts.over_time else functioned(asked, components=keys, control_items=items_asked)
        worked: dict[Worked, list[Proved]] = {}
        for subject, ones in found.items():
            known = [(facts.proofs.records.get(one.record_id), one.passed) for one in ones]
            worked[subject] = [
                Proved(proof, passed) for proof, passed in known if proof and not facts.proofs.is_corrected(proof)
            ]
        return cls(facts, facts.edition, worked, _stood_before(keys, facts) if refits else frozenset())

    def on_stack(self, stack: Stack, reason: str) -> datetime | None:
        """Return when the stack was last landed or on the stump: when the test made for that began."""
        return self.facts.reasons.get((stack.pk, reason))


def _stood_before(keys: Sequence[int], facts: RigFacts) -> frozenset[int]:
    before = Installation.objects.filter(component__in=keys, removed_at__lte=facts.at)
    return frozenset(before.order_by().values_list("component_id", flat=True))


def _of_component(one: Installation, rules: Sequence[ScheduledRule], history: _History) -> Iterator[Derived]:
    facts = history.facts
    work = facts.work.get(one.component_id, ())
    happened = {
        Occasion.INSTALLED: one.installed_at,
        Occasion.REFITTED: one.installed_at if one.component_id in history.stood_before else None,
        Occasion.REPAIRED: latest(event.at for event in work),
        **_stack_occasions(one.position.stack, history),
    }
    called = called_by(rules, history.edition, happened)
    if called is None:
        return
    subject = place_of(one)
    proved = history.worked.get(("component", one.component_id), [])
    base: list[Event] = [Happened(EventKind.INSTALLED, one.installed_at), *(as_event(event) for event in work)]
    renewing = _closed_in_tests(one, facts) if _by_pressure(called) else []
    elsewhere = [test for test in facts.brought.get(one.component_id, ()) if test.what == What.FUNCTION]
    yield _row(subject, called, base, proved, renewing, history, elsewhere, since=one.installed_at)


def _closed_in_tests(one: Installation, facts: RigFacts) -> list[Proved]:
    """Return the signed pressure tests that closed it from a station and held: it moved, though nobody timed it."""
    if one.component.kind not in CLOSED_FROM_A_STATION:
        return []
    tests = facts.pressed.get(one.component_id, [])
    return [each for each in tests if each.passed and each.proof.sealed_at and each.proof.control_station]


def _by_pressure(called: Called) -> bool:
    return any(Task.PRESSURE in rule.renewed_by for rule in called.rules if rule.id == called.requirement.rule_id)


def _stack_occasions(stack: Stack, history: _History) -> dict[Occasion, datetime | None]:
    return {
        Occasion.LANDED: history.on_stack(stack, TestReason.LANDED),
        Occasion.STUMP: history.on_stack(stack, TestReason.STUMP),
    }


def _of_item(item: ControlItem, rules: Sequence[ScheduledRule], history: _History) -> Iterator[Derived]:
    happened = {
        Occasion.INSTALLED: item.in_service_from,
        Occasion.COMMISSIONED: item.in_service_from,
        **_stack_occasions(item.stack, history),
    }
    called = called_by(rules, history.edition, happened)
    if called is None:
        return
    subject = Subject(
        key=f"controlitem-{item.pk}",
        name=item.name,
        detail=f"{item.get_kind_display()} of {item.stack.name}",
        part=PartOfSystem.STATIONS,
        stack=item.stack,
        control_item=item,
    )
    proved = history.worked.get(("controlitem", item.pk), [])
    renewing = [Proved(proof, True) for proof in _worked_from(item, history.facts)] if _by_pressure(called) else []
    base: list[Event] = [Happened(EventKind.INSTALLED, item.in_service_from)]
    yield _row(subject, called, base, proved, renewing, history, since=item.in_service_from)


def _worked_from(item: ControlItem, facts: RigFacts) -> Iterator[Proof]:
    """Yield the passed pressure tests worked from this station, or by this pod."""
    for proof in facts.passed_pressure_tests:
        used = (proof.control_station, proof.pod)
        if item.place and item.place in used and proof.stack_id == item.stack_id:
            yield proof


def _row(
    subject: Subject,
    called: Called,
    base: Sequence[Event],
    proved: Sequence[Proved],
    renewing: Sequence[Proved],
    history: _History,
    elsewhere: Sequence[BroughtTest] = (),
    *,
    since: datetime,
) -> Derived:
    facts, asked = history.facts, called.requirement
    work = facts.completions.get(f"{What.FUNCTION.value}/{subject.key}", ())
    done = [Tested(row.started_at, row.concluded_at, row.passed) for row in work]
    done += [event_of(one) for one in elsewhere]
    standing = standing_of([*proved, *renewing], facts.proofs, facts.at)
    lasts_until = None
    if asked.interval is not None and asked.deadline is not None:
        lasts_until = recurrence.deadline_after(since, asked.interval, asked.deadline, facts.zone)
    plain = Derived(
        what=What.FUNCTION,
        subject=subject,
        requirement=asked,
        history=(
            *base,
            *called.events,
            *_tests(proved, facts),
            *_tests(renewing, facts),
            *done,
            *facts.deferred(What.FUNCTION, subject.key),
        ),
        first_owed=called.first_owed,
        stood_too_long_from=lasts_until,
    )
    known = _with(plain, standing, done, facts)
    return replace(known, note=brought_note(of_kind(elsewhere, What.FUNCTION, at=facts.at), known.last_done_at))


def _with(plain: Derived, standing: Standing, done: Sequence[Tested], facts: RigFacts) -> Derived:
    over = latest(one.concluded for one in done if one.passed and one.concluded and one.concluded <= facts.at)
    failed = facts.proofs.records.get(standing.failed_record) if standing.failed_record else None
    settled = failed is not None and over is not None and over > failed.over_at
    return replace(
        plain,
        last_record=standing.last_record,
        last_done_at=latest([standing.last_done_at, over]),
        failed_record=None if settled else standing.failed_record,
        draft=standing.draft,
    )


def _tests(proved: Sequence[Proved], facts: RigFacts) -> Iterator[Event]:
    for one in proved:
        if one.proof.sealed_at is not None:
            yield Tested(one.proof.started_at, one.proof.over_at, one.passed)
        elif facts.proofs.is_being_tested(one.proof) and one.proof.kind == RecordKind.FUNCTION:
            yield Tested(one.proof.begun_at)
