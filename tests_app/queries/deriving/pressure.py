"""What is owed in pressure tests: by each component in place that an edition's pressure rules speak of."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

from calcs import recurrence
from calcs.errors import InputError
from calcs.recurrence import Event, EventKind, Happened, Tested
from calcs.rules import Edition, Occasion, PressureRule, Recurrence
from equipment.errors import Refused
from equipment.models import NOT_PRESSURE_TESTED, Component, Installation
from equipment.queries.stacks import Standing
from tests_app.errors import NoRules
from tests_app.models import BroughtTest, What
from tests_app.queries.brought import brought_note, event_of, of_kind
from tests_app.queries.deriving.called import latest
from tests_app.queries.deriving.derived import Derived, Requirement, Subject
from tests_app.queries.deriving.facts import RigFacts
from tests_app.queries.deriving.proofs import Proved, standing_of
from tests_app.queries.requirements import Circumstances, choice_for, default_side, required_for
from tests_app.queries.servicing import as_event
from tests_app.queries.still_enough import ROUNDING, StillEnough

ONLY_EVENTS: Final = "The edition gives no interval for it: only events call for its test."


def pressure_tests(facts: RigFacts) -> Iterator[Derived]:
    """Yield what is owed in pressure tests. Without rules each row says that it can't be worked out."""
    for one in facts.chosen:
        if one.component.kind in NOT_PRESSURE_TESTED:
            continue
        plain = _with_records(Derived(what=What.PRESSURE, subject=place_of(one)), one, facts)
        if isinstance(facts.edition, NoRules):
            yield replace(plain, error=str(facts.edition))
        elif is_pressure_ruled(one.component, facts.edition):
            found = _by_the_rules(plain, one, facts)
            if found is not None:
                yield found


def place_of(installation: Installation) -> Subject:
    """Return a position and what stands in it as what something is owed on."""
    position, component = installation.position, installation.component
    return Subject(
        key=f"installation-{installation.pk}",
        name=position.name,
        detail=str(component),
        part=position.group,
        stack=position.stack,
        position=position,
        installation=installation,
        component=component,
    )


def is_pressure_ruled(component: Component, edition: Edition) -> bool:
    """Tell whether the edition's pressure rules speak of components of this kind at all."""
    return any(not scope.kinds or component.kind in scope.kinds for rule in edition.rules for scope in rule.scopes)


def _with_records(plain: Derived, installation: Installation, facts: RigFacts) -> Derived:
    standing = standing_of(_proved(installation, facts), facts.proofs, facts.at)
    elsewhere = latest(one.concluded_at for one in _brought(installation, facts) if one.passed)
    return replace(
        plain,
        last_record=standing.last_record,
        last_done_at=latest([standing.last_done_at, elsewhere]),
        failed_record=standing.failed_record,
        draft=standing.draft,
    )


def _proved(installation: Installation, facts: RigFacts) -> list[Proved]:
    return facts.pressed.get(installation.component_id, [])


def _brought(installation: Installation, facts: RigFacts) -> list[BroughtTest]:
    return of_kind(facts.brought.get(installation.component_id, ()), What.PRESSURE, at=facts.at)


def _by_the_rules(plain: Derived, installation: Installation, facts: RigFacts) -> Derived | None:
    """Return the row, or why it can't be worked out; None for what the rules exempt from pressure tests."""
    under = facts.around[installation.position.stack_id]
    standing = Standing(installation.position, installation.component, installation)
    try:
        choice = choice_for(standing, default_side(installation.component.kind), under=under)
        if choice.exempt is not None:
            return None
        if choice.recurrence is None:
            raise InputError("interval", ONLY_EVENTS)
        asked = _asked(choice.recurrence, choice.pressure_rules, under.edition)
        return _dated(replace(plain, requirement=asked), standing, under, facts)
    except (InputError, Refused) as error:
        return replace(plain, requirement=None, error=str(error))


def _asked(recurs: Recurrence, rules: Iterable[PressureRule], edition: Edition) -> Requirement:
    own = next((rule for rule in rules if rule.recurs == recurs), None)
    return Requirement.recurring(recurs, edition, rule_id=own.id if own else "", title=own.title if own else "")


def _dated(plain: Derived, standing: Standing, under: Circumstances, facts: RigFacts) -> Derived:
    installation, asked = standing.installation, plain.requirement
    assert installation is not None
    assert asked is not None
    assert asked.interval is not None
    assert asked.deadline is not None
    enough = StillEnough(standing, under)
    history = (
        *_events(installation, facts, enough),
        *_section_events(standing, under),
        *facts.deferred(What.PRESSURE, plain.subject.key),
    )
    return replace(
        plain,
        history=history,
        note=" ".join(filter(None, (brought_note(_brought(installation, facts), plain.last_done_at), enough.unknown))),
        first_owed=_first_owed(standing, under),
        stood_too_long_from=recurrence.deadline_after(
            installation.installed_at, asked.interval, asked.deadline, facts.zone
        ),
    )


def _events(installation: Installation, facts: RigFacts, enough: StillEnough) -> Iterator[Event]:
    yield Happened(EventKind.INSTALLED, installation.installed_at)
    for work in facts.work.get(installation.component_id, ()):
        yield as_event(work)
    for proved in _proved(installation, facts):
        proof = proved.proof
        if proof.sealed_at is not None:
            held = min((line.held for line in proved.lines), default=None)
            short = _shortfall(proved, facts, enough) if proved.passed else ""
            yield Tested(proof.started_at, proof.over_at, proved.passed, held, short)
        elif facts.proofs.is_being_tested(proof):
            yield Tested(proof.begun_at)
    for one in facts.brought.get(installation.component_id, ()):
        if one.what == What.PRESSURE and one.high_pressure is not None:
            sides = [(one.pressure_from, one.high_pressure.si)]
            short = enough.shortfall(sides, barrier=None, section=None) if one.passed else ""
            yield event_of(one, short)


def _shortfall(proved: Proved, facts: RigFacts, enough: StillEnough) -> str:
    # The section it was made for is read only where none is being drilled now.
    made_for = proved.proof.section_id if facts.section is None else None
    section = facts.sections.get(made_for) if made_for is not None else None
    sides = [(line.pressure_from, line.held) for line in proved.lines]
    return enough.shortfall(sides, barrier=proved.proof.barrier, section=section)


def _section_events(standing: Standing, under: Circumstances) -> list[Event]:
    """Return the section begun, where its approval makes the pressure follow the MASP: a higher one asks for a test.

    Without such an approval the rating decides, whatever the section.
    """
    section = under.section
    if section is None or section.begins_at is None or not section.masp_margin_approval:
        return []
    assert standing.component is not None
    need = required_for(standing, default_side(standing.component.kind), under=under)
    return [recurrence.Section(section.begins_at, need.required.high_gauge * (1 - ROUNDING))]


def _first_owed(standing: Standing, under: Circumstances) -> str:
    """Return which test is owed first, with its clause: the one on installation, where the rules ask for one."""
    assert standing.component is not None
    try:
        on_installation = replace(under, occasion=Occasion.INSTALLED)
        side = default_side(standing.component.kind)
        rules = choice_for(standing, side, under=on_installation).pressure_rules
    except InputError:
        return "The first test owed is the one on the interval."
    return f"The first test owed is the one on installation ({_clause_of(rules, Occasion.INSTALLED)})."


def _clause_of(rules: Iterable[PressureRule], occasion: Occasion) -> str:
    """Return the clause by which something that happened calls for a test."""
    clauses = [event.source.clause for rule in rules for event in rule.events if event.occasion == occasion]
    return "; ".join(dict.fromkeys(clauses))
