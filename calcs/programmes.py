"""A rig's own programme: a published edition with single figures changed, and rules of the rig's own added.

A change is data in the closed vocabulary of `calcs.programme_figures`. It may be stricter than the source freely,
and looser only with the reference of an approval. The edition that comes out names the source's value beside each
figure changed.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from calcs.errors import InputError
from calcs.fields import Fields, quoted
from calcs.programme_figures import (
    FIGURES,
    ChangeableRule,
    Comparison,
    Every,
    Figure,
    FigureKind,
    own_source,
)
from calcs.recurrence import Deadline, Interval
from calcs.rules import (
    KIND_LABELS,
    STACKS,
    BankRule,
    Confidence,
    Edition,
    OwnFigure,
    PressureRule,
    Recurrence,
    Scope,
    Source,
)
from calcs.schedule_rule_words import TASK_WORDS
from calcs.schedule_rules import THING_LABELS, ScheduledRule, Task

OWN_RULE: Final = "own-rule"
"""In place of a figure: the change adds a rule of the rig's own."""
OWN_CLAUSE: Final = "own programme"
_EVERY_KIND: Final = frozenset(KIND_LABELS)
_CONTROLS: Final = frozenset(
    {"control-station", "remote-panel", "pod", "deadman", "autoshear", "emergency-disconnect", "rov-intervention"}
)
ASKABLE: Final[Mapping[Task, frozenset[str]]] = {
    Task.FUNCTION: _EVERY_KIND | _CONTROLS | {"bop-system"},
    Task.INSPECTION: _EVERY_KIND | {"bop-system"},
    Task.OVERHAUL: _EVERY_KIND | {"bop-system"},
    Task.ELASTOMER: _EVERY_KIND,
    Task.DOCUMENT: frozenset({"bop-system"}),
    Task.DRILL: frozenset({"crew"}),
}
"""What a rule of the rig's own may ask, and of what: no more than is followed up by date."""
_OWN_ID: Final = "own-"
_LONGEST_ID: Final = 60


@dataclass(frozen=True, slots=True)
class Change:
    """One figure changed.

    Attributes:
        rule_id: the rule it is of.
        figure: which figure.
        own: the own value, in SI, as the figure's kind reads it.
        approval: the reference that allows a looser value; empty where it is stricter.
    """

    rule_id: str
    figure: Figure
    own: Any
    approval: str = ""


@dataclass(frozen=True, slots=True)
class Addition:
    """A rule of the rig's own: something to be done that the source does not ask."""

    rule: ScheduledRule


@dataclass(frozen=True, slots=True)
class Changeable:
    """A figure a rule has, with the source's value."""

    rule: ChangeableRule
    figure: Figure
    kind: FigureKind
    source: Any

    @property
    def source_words(self) -> str:
        """The source's value in words; empty where it is left open."""
        return "" if self.source is None else self.kind.words(self.source)


def read_change(fields: Fields) -> Change | Addition:
    """Read a change from data; raises InputError naming the path at fault, for keys nobody knows too."""
    named = fields.choice("figure", [*Figure, OWN_RULE])
    rule_id = fields.text("rule")
    fields.text("source", "")
    approval = fields.text("approval", "").strip()
    if named == OWN_RULE:
        change: Change | Addition = Addition(_own_rule(rule_id, fields.object("own"), fields.path("rule")))
    else:
        figure = Figure(named)
        change = Change(rule_id, figure, FIGURES[figure].read(fields), approval)
    fields.close()
    return change


def parse_changes(given: Sequence[Mapping[str, Any]]) -> tuple[Change | Addition, ...]:
    """Read the changes of a copy as they are kept, in their order."""
    return tuple(read_change(Fields(one, f"changes.{index}")) for index, one in enumerate(given))


def compared(figure: Figure, own: Any, source: Any) -> Comparison:
    """Return how an own value compares with the source's; None, where the source asks nothing, is always stricter.

    >>> compared(Figure.HOLD, 600.0, None).value, compared(Figure.HIGH_FRACTION, 0.6, 0.7).value
    ('stricter', 'looser')
    """
    return Comparison.STRICTER if source is None else FIGURES[figure].compare(own, source)


def figures_of(rule: ChangeableRule) -> tuple[Changeable, ...]:
    """Return the figures of a rule that may be changed, with the rule's own values."""
    return tuple(
        Changeable(rule, figure, kind, kind.source(rule)) for figure, kind in FIGURES.items() if kind.belongs(rule)
    )


def rules_of(edition: Edition) -> Iterator[ChangeableRule]:
    """Give every rule of an edition that has figures, in its order."""
    yield from (rule for rule in edition.rules if isinstance(rule, PressureRule))
    yield from edition.bank_rules
    yield from edition.schedule_rules


def applied(edition: Edition, changes: Sequence[Change | Addition], *, edition_id: str, words: str) -> Edition:
    """Return the edition with the changes made: a new one under `edition_id`, which says in `words` what it is.

    Raises InputError for a rule or figure the edition does not have, one changed twice, a value its rule can't take,
    and a looser one without an approval, naming the change (``changes.0.rule``) and what to do.
    """
    made = edition
    own: list[OwnFigure] = []
    seen: set[tuple[str, str]] = set()
    for index, change in enumerate(changes):
        try:
            _refuse_twice(change, seen)
            made, figure = _added(made, change) if isinstance(change, Addition) else _changed(made, edition, change)
        except InputError as error:
            raise error.under(f"changes.{index}") from error
        own.append(figure)
    return replace(
        made, id=edition_id, edition=f"{edition.edition}, {words}", aliases=(), source_id=edition.id, own=tuple(own)
    )


def _refuse_twice(change: Change | Addition, seen: set[tuple[str, str]]) -> None:
    if isinstance(change, Addition):
        return
    key = (change.rule_id, change.figure)
    if key in seen:
        raise InputError("figure", "This figure of the rule is changed twice.", "Take one of the changes back.")
    seen.add(key)


def changed_figure(edition: Edition, change: Change) -> tuple[Changeable, Comparison]:
    """Return the source's figure a change is of, and how the own value compares; raises InputError for none."""
    rule = next((one for one in rules_of(edition) if one.id == change.rule_id), None)
    if rule is None:
        raise InputError("rule", f"{quoted(change.rule_id)} is no rule of {edition.id}.", "Choose one of its rules.")
    kind = FIGURES[change.figure]
    if not kind.belongs(rule):
        listed = ", ".join(one.kind.label.lower() for one in figures_of(rule)) or "none"
        raise InputError("figure", f"This rule has no {kind.label.lower()}.", f"It has: {listed}.")
    found = Changeable(rule, change.figure, kind, kind.source(rule))
    return found, compared(change.figure, change.own, found.source)


def _changed(made: Edition, source: Edition, change: Change) -> tuple[Edition, OwnFigure]:
    found, comparison = changed_figure(source, change)
    if comparison is Comparison.LOOSER and not change.approval:
        raise InputError(
            "approval",
            f"This is looser than the source's {found.source_words}: {found.kind.direction}",
            "Give the reference of the approval, or a stricter value.",
        )
    where = found.kind.where(found.rule)
    figure = OwnFigure(
        rule_id=found.rule.id,
        rule_title=found.rule.title,
        clause=where.clause if where else found.rule.clause,
        figure=change.figure,
        label=found.kind.label,
        own=found.kind.words(change.own),
        source=found.source_words,
        comparison=comparison.value,
        approval=change.approval,
    )
    rule = next(one for one in rules_of(made) if one.id == change.rule_id)
    note = f"{found.kind.label}: {figure.words[0].lower()}{figure.words[1:]}"
    put = _put(found.kind, rule, change.own, own_source(rule, found.kind.where(rule), note))
    return _with_rule(made, put), figure


def _put(kind: FigureKind, rule: ChangeableRule, own: Any, source: Source) -> ChangeableRule:
    """Return the rule with the own value; what the rule itself refuses is a fault of the value."""
    try:
        put: ChangeableRule = kind.put(rule, own, source)
    except InputError as error:
        raise InputError("own", error.reason, error.remedy) from error
    return put


def _with_rule(edition: Edition, changed: ChangeableRule) -> Edition:
    def swapped(rules: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(changed if rule.id == changed.id else rule for rule in rules)

    if isinstance(changed, PressureRule):
        return replace(edition, rules=swapped(edition.rules))
    if isinstance(changed, BankRule):
        return replace(edition, bank_rules=swapped(edition.bank_rules))
    return replace(edition, schedule_rules=swapped(edition.schedule_rules))


def _added(made: Edition, addition: Addition) -> tuple[Edition, OwnFigure]:
    rule = addition.rule
    if any(one.id == rule.id for one in (*made.rules, *made.bank_rules, *made.schedule_rules)):
        raise InputError("rule", f"There is a rule {quoted(rule.id)} already.", "Give it another name.")
    assert rule.recurs is not None  # `_own_rule` asks for it
    every = FIGURES[Figure.INTERVAL].words(Every(rule.recurs.interval, rule.recurs.deadline))
    figure = OwnFigure(
        rule_id=rule.id,
        rule_title=rule.title,
        clause=OWN_CLAUSE,
        figure=OWN_RULE,
        label=TASK_WORDS[rule.task],
        own=f"every {every}",
        source="",
        comparison=Comparison.STRICTER.value,
    )
    return replace(made, schedule_rules=(*made.schedule_rules, rule)), figure


def _own_rule(rule_id: str, own: Fields, path: str) -> ScheduledRule:
    """Read a rule of the rig's own: a task on kinds of components or other things, on an interval."""
    if not rule_id.startswith(_OWN_ID) or len(rule_id) > _LONGEST_ID:
        raise InputError(path, "A rule of the rig's own is not named so.", "Give a short name that begins with own-.")
    task = Task(own.choice("task", list(ASKABLE)))
    about = own.choices("about", [*KIND_LABELS, *THING_LABELS])
    if not about:
        raise InputError(own.path("about"), "The rule is about nothing.", "Name what is to be done to what.")
    if not set(about) <= ASKABLE[task]:
        named = ", ".join(_labels(set(about) - ASKABLE[task]))
        asked = "component, or " if ASKABLE[task] >= _EVERY_KIND else ""
        able = ", ".join(_labels(ASKABLE[task] - _EVERY_KIND))
        raise InputError(
            own.path("about"),
            f"{TASK_WORDS[task]} is not followed up of: {named}.",
            f"Choose {asked}{able}." if able else "Choose components.",
        )
    kinds = tuple(one for one in about if one in KIND_LABELS)
    stacks = own.choices("stacks", STACKS)
    scopes = (Scope(kinds=kinds, stacks=stacks),) if kinds or stacks else ()
    source = Source(OWN_CLAUSE, Confidence.GIVEN, "A rule of the rig's own programme.", own=True)
    interval = own.read("interval", Interval.parse)
    deadline = Deadline(own.choice("deadline", list(Deadline)))
    if deadline is Deadline.MIDNIGHT and interval.unit == "h":
        raise InputError(own.path("deadline"), "Hours end by the clock.", "Give days, or the deadline exact.")
    return ScheduledRule(
        id=rule_id,
        clause=OWN_CLAUSE,
        title=own.text("title"),
        confidence=Confidence.GIVEN,
        scopes=scopes,
        note=own.text("note", ""),
        recurs=Recurrence(interval, deadline, source),
        task=task,
        things=tuple(one for one in about if one in THING_LABELS),
    )


def _labels(about: Iterable[str]) -> list[str]:
    words = {**KIND_LABELS, **THING_LABELS}
    return sorted(words[one] for one in about)
