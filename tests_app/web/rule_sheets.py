"""An edition of the rules as a page shows it: each requirement, and each clause with what stands in it."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from calcs.bank_rule_words import asked_words
from calcs.bank_rules import PrechargeRule
from calcs.rule_words import OCCASION_WORDS, high_words, hold_words, low_words, recurrence_words, scope_words
from calcs.rules import BankRule, Confidence, Edition, EventTrigger, ExemptRule, Rule, Source, StatedRule
from calcs.schedule_rule_words import asked_of, event_words, things_words
from calcs.schedule_rules import EvidenceRule, ScheduledRule, TimedTrigger
from tests_app.queries.deriving.precharges import OWNERS_SCHEDULE
from tests_app.web.clauses import anchor_of

_READ: Final = (Confidence.READ, Confidence.READ_2)


@dataclass(frozen=True)
class Statement:
    """One thing an edition says: what it is about, in our words, where it stands and how surely that is known."""

    about: str
    words: str
    clause: str
    confidence: str
    note: str = ""
    own: bool = False

    @property
    def anchor(self) -> str:
        """Return the anchor of its clause."""
        return anchor_of(self.clause)


@dataclass(frozen=True)
class Requirement:
    """One rule of an edition with everything it says."""

    rule: Rule | StatedRule
    applies: tuple[str, ...]
    statements: tuple[Statement, ...]

    @property
    def anchor(self) -> str:
        """Return its anchor on the page."""
        return f"rule-{self.rule.id}"


@dataclass(frozen=True)
class Clause:
    """One clause, and what each requirement that rests on it takes from it."""

    clause: str
    requirements: tuple[Requirement, ...]

    @property
    def anchor(self) -> str:
        """Return its anchor on the page."""
        return anchor_of(self.clause)


@dataclass(frozen=True)
class EditionSheet:
    """An edition ready to be shown."""

    edition: Edition
    requirements: tuple[Requirement, ...]
    clauses: tuple[Clause, ...]

    @property
    def known(self) -> str:
        """Return how much of it was read and how much is from memory, in a sentence."""
        said = {statement for one in self.requirements for statement in one.statements}
        read = sum(statement.confidence in _READ for statement in said)
        derived = sum(statement.confidence == Confidence.DERIVED for statement in said)
        given = sum(statement.confidence == Confidence.GIVEN for statement in said)
        memory = len(said) - read - derived - given
        counts = {"read": read, "derived": derived, "the rig's own": given, "from memory": memory}
        found = [f"{count} {how}" for how, count in counts.items() if count]
        if len(found) == 1:
            return f"All its {' statements are '.join(found[0].split(' ', 1))}."
        return f"Of its {len(said)} statements are {', '.join(found[:-1])} and {found[-1]}."


def sheet_of(edition: Edition) -> EditionSheet:
    """Return an edition requirement by requirement and clause by clause."""
    of_banks = (_bank_requirement(rule) for rule in edition.bank_rules)
    titles = {rule.id: rule.title for rule in (*edition.rules, *edition.bank_rules, *edition.schedule_rules)}
    scheduled = (_scheduled_requirement(rule, titles) for rule in edition.schedule_rules)
    requirements = (*(_requirement(rule) for rule in edition.rules), *of_banks, *scheduled)
    return EditionSheet(edition, requirements, tuple(_clauses(requirements)))


def _requirement(rule: Rule) -> Requirement:
    return Requirement(rule, tuple(scope_words(scope) for scope in rule.scopes), tuple(_statements(rule)))


def _bank_requirement(rule: BankRule) -> Requirement:
    """Return a requirement on accumulators and pumps: it applies to banks, or to the preventers they work."""
    applies = tuple(_of_banks(scope_words(scope)) for scope in rule.scopes) or ("Every accumulator bank",)
    return Requirement(rule, applies, tuple(_bank_statements(rule)))


def _of_banks(scope: str) -> str:
    return scope.replace("Everything", "Accumulator banks and their pumps", 1)


def _bank_statements(rule: BankRule) -> Iterator[Statement]:
    yield Statement("Requirement", f"{rule.title}.", rule.clause, rule.confidence.value, rule.note)
    for about, words in asked_words(rule):
        yield Statement(about, f"{words}.", rule.clause, rule.confidence.value)
    if rule.recurs is not None:
        yield _figure("Interval", recurrence_words(rule.recurs), rule.recurs.source)
    elif isinstance(rule, PrechargeRule):
        yield Statement("Interval", OWNERS_SCHEDULE, rule.clause, rule.confidence.value)
    yield from _events(rule.events)


def _scheduled_requirement(rule: StatedRule, titles: Mapping[str, str]) -> Requirement:
    """Return a requirement that recurs or an event calls for: it applies to components, or to other things."""
    things = rule.things if isinstance(rule, ScheduledRule | EvidenceRule) else ()
    about = [scope_words(scope) for scope in rule.scopes if scope.kinds or not things]
    stacks = {stack for scope in rule.scopes if not scope.kinds for stack in scope.stacks}
    place = f"; on a {' or '.join(sorted(stacks))} stack" if stacks else ""
    named = [f"{things_words(things)}{place}"] if things else []
    applies = (*about, *named) or ("What those rules apply to",)
    return Requirement(rule, applies, tuple(_scheduled_statements(rule, titles)))


def _scheduled_statements(rule: StatedRule, titles: Mapping[str, str]) -> Iterator[Statement]:
    yield Statement("Requirement", f"{rule.title}.", rule.clause, rule.confidence.value, rule.note)
    figures = _sources_of_figures(rule)
    for about, words in asked_of(rule, titles):
        shown = f"{words[:1].upper()}{words[1:]}"
        source = figures.get(about, Source(rule.clause, rule.confidence))
        yield _figure(about, shown, source)
    if rule.recurs is not None:
        yield _figure("Interval", recurrence_words(rule.recurs), rule.recurs.source)
    yield from _events(rule.events, "Called for")


def _sources_of_figures(rule: StatedRule) -> dict[str, Source]:
    if not isinstance(rule, ScheduledRule):
        return {}
    figures = {"Low test": rule.low, "Pressure": rule.high, "Where approved": rule.high, "Hold": rule.hold}
    return {about: figure.source for about, figure in figures.items() if figure is not None}


def _statements(rule: Rule) -> Iterator[Statement]:
    yield Statement("Requirement", f"{rule.title}.", rule.clause, rule.confidence.value)
    if isinstance(rule, ExemptRule):
        yield Statement("Why", rule.reason, rule.clause, rule.confidence.value)
        return
    own = Source(rule.clause, rule.confidence)
    if rule.low is not None:
        yield _figure("Low test", low_words(rule.low), rule.low.source)
    else:
        yield _figure("Low test", "Not stated in what is on file", own)
    yield _figure("High test", high_words(rule.high), rule.high.source)
    yield _figure("Hold", hold_words(rule.hold), rule.hold.source if rule.hold else own)
    if rule.recurs is not None:
        yield _figure("Interval", recurrence_words(rule.recurs), rule.recurs.source)
    yield from _events(rule.events)


def _figure(about: str, words: str, source: Source) -> Statement:
    return Statement(about, f"{words}.", source.clause, source.confidence.value, source.note, source.own)


def _events(events: tuple[EventTrigger, ...], verb: str = "Also tested") -> Iterator[Statement]:
    """Give what calls for the test, taken together where it stands in one clause and is known alike."""
    by_source: dict[Source, list[str]] = defaultdict(list)
    for event in events:
        by_source[event.source].append(_occasion_words(event))
    for source, occasions in by_source.items():
        yield _figure("Occasion", f"{verb} {', '.join(occasions)}", source)


def _occasion_words(event: EventTrigger) -> str:
    return event_words(event) if isinstance(event, TimedTrigger) else OCCASION_WORDS[event.occasion]


def _clauses(requirements: tuple[Requirement, ...]) -> Iterator[Clause]:
    names = sorted({statement.clause for one in requirements for statement in one.statements})
    for name in names:
        taken = (_taken_from(name, one) for one in requirements)
        yield Clause(name, tuple(one for one in taken if one.statements))


def _taken_from(clause: str, requirement: Requirement) -> Requirement:
    """Return a requirement with no more than what it takes from a clause."""
    said = tuple(one for one in requirement.statements if one.clause == clause)
    return replace(requirement, statements=said)
