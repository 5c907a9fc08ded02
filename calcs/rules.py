"""Published test rules as frozen values, and the choice of those that apply, compared in the open.

An edition is one published rule set as it stood at a date. Its rules use a closed vocabulary and hold
no expressions; `calcs.rule_files` reads them from data. Each figure carries the clause it stands in
and how surely it is known. All pressures are gauge, in Pa; times in s.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final, Literal

from calcs.errors import InputError
from calcs.recurrence import Deadline, Interval
from calcs.units import GaugePressure


class Confidence(StrEnum):
    """How surely a figure is known, the surest first.

    GIVEN: stated by whoever asked; never in a rule file. READ: seen in the named clause. READ_2: seen in
    a text that reports it. DERIVED: worked out from other figures. MEMORY: from memory, not confirmed.
    MEMORY_LOW: unsure of the number or its edition.
    """

    GIVEN = "given"
    READ = "read"
    READ_2 = "read-2"
    DERIVED = "derived"
    MEMORY = "memory"
    MEMORY_LOW = "memory-low"


_SURENESS: Final = list(Confidence)

KIND_LABELS: Final[Mapping[str, str]] = {
    "annular": "annular",
    "pipe-ram": "pipe ram",
    "variable-bore-ram": "variable-bore ram",
    "blind-ram": "blind ram",
    "blind-shear-ram": "blind-shear ram",
    "casing-shear-ram": "casing-shear ram",
    "connector": "connector",
    "drilling-spool": "drilling spool",
    "choke-valve": "choke-line valve",
    "kill-valve": "kill-line valve",
    "gate-valve-hydraulic": "gate valve, hydraulic",
    "gate-valve-manual": "gate valve, manual",
    "check-valve": "check valve",
    "choke": "choke",
    "manifold": "manifold",
    "standpipe-valve": "standpipe valve",
    "kelly-valve": "kelly or top-drive valve",
    "safety-valve": "drill-string safety valve",
    "inside-bop": "inside BOP",
    "flexible-line": "flexible line",
    "closing-unit": "closing unit",
    "accumulator-bank": "accumulator bank",
    "riser": "riser",
    "diverter": "diverter",
}
"""Every component kind with the trade's word for it."""

ALWAYS_AT_SURFACE: Final = frozenset(
    {"choke", "manifold", "standpipe-valve", "kelly-valve", "safety-valve", "inside-bop", "closing-unit", "diverter"}
)
"""Kinds that stand at the surface whatever the stack does (common practice)."""

StackKind = Literal["surface", "subsea"]
STACKS: Final = ("surface", "subsea")


class Position(StrEnum):
    """Where an element stands, as far as a rule cares; NONE when no rule asks."""

    NONE = ""
    ABOVE_UPPERMOST_RAM = "above-uppermost-ram"
    BELOW_UPPERMOST_RAM = "below-uppermost-ram"
    SURFACE_EQUIPMENT = "surface-equipment"


class Side(StrEnum):
    """The side pressure comes from: the well's (inside), the line's (outside), or not said."""

    NONE = ""
    INSIDE = "inside"
    OUTSIDE = "outside"


class Occasion(StrEnum):
    """Why something is due: the interval has run, something happened, or something is about to."""

    INTERVAL = "interval"
    INSTALLED = "installed"
    REFITTED = "refitted"
    REPAIRED = "repaired"
    SEAL_BROKEN = "seal-broken"
    BEFORE_DRILL_OUT = "before-drill-out"
    HIGHER_MASP = "higher-masp"
    PIPE_SIZE_CHANGED = "pipe-size-changed"
    STUMP = "stump"
    LANDED = "landed"
    RELATCHED = "relatched"
    LMRP_RELATCHED = "lmrp-relatched"
    COMMISSIONED = "commissioned"
    BEFORE_RUNNING_CASING = "before-running-casing"
    CEMENTED = "cemented"
    BEFORE_RESERVOIR = "before-reservoir"
    TRIP = "trip"
    TOUR = "tour"
    BETWEEN_WELLS = "between-wells"
    PIPE_SHEARED = "pipe-sheared"
    STATION_DOWN = "station-down"
    FAILURE_FOUND = "failure-found"
    ANALYSIS_BEGUN = "analysis-begun"
    TEST_PLANNED = "test-planned"
    TEST_CONCLUDED = "test-concluded"


class Rating(StrEnum):
    """Whose rating a fraction is taken of."""

    COMPONENT = "component"
    ANNULAR = "annular"
    WELLHEAD = "wellhead"
    CASING_BURST = "casing-burst"


class HoldCondition(StrEnum):
    """What allows a shorter hold: equipment at the surface; a chart or digital recorder the rule accepts."""

    AT_SURFACE = "at-surface"
    ELIGIBLE_RECORDER = "eligible-recorder"


class SigningCapacity(StrEnum):
    """In which capacity somebody signs a test record."""

    LESSEE = "lessee"
    CONTRACTOR = "contractor"
    PUMP_OPERATOR = "pump-operator"
    SUPERVISOR = "supervisor"
    WITNESS = "witness"


@dataclass(frozen=True, slots=True)
class Source:
    """Where a figure stands and how surely that is known; `own`: a rig's own programme changed it, as the note says."""

    clause: str
    confidence: Confidence
    note: str = ""
    own: bool = False


@dataclass(frozen=True, slots=True)
class OwnFigure:
    """A figure a rig's own programme changes, in words, see `calcs.programmes`.

    Attributes:
        rule_id: the rule it is of.
        rule_title: that rule in words.
        clause: where the source's value stands.
        figure: its key in the vocabulary of programmes.
        label: which figure it is, in words.
        own: its own value.
        source: the source's value; empty where the source leaves it open.
        comparison: whether the own value is stricter, looser or the same.
        approval: the reference that allows a looser one.
    """

    rule_id: str
    rule_title: str
    clause: str
    figure: str
    label: str
    own: str
    source: str
    comparison: str
    approval: str = ""

    @property
    def words(self) -> str:
        """The change in words, with what allows it.

        >>> OwnFigure("r", "t", "c", "hold", "Hold", "10 min", "5 min", "stricter").words
        'Own programme: 10 min instead of 5 min, stricter'
        """
        said = f"Own programme: {self.own}"
        said += f" instead of {self.source}" if self.source else ", where the source asks nothing"
        return f"{said}, {self.comparison}" + (f", approved under {self.approval}" if self.approval else "")


@dataclass(frozen=True, slots=True)
class SignaturesNeeded:
    """The capacities in which a test record is signed, each by somebody else, and where that stands."""

    capacities: tuple[SigningCapacity, ...]
    source: Source


@dataclass(frozen=True, slots=True)
class Fraction:
    """A fraction of a rating: 0.7 of the component's RWP."""

    fraction: float
    of: Rating = Rating.COMPONENT

    def __post_init__(self) -> None:
        """Refuse a fraction outside 0 to 1.5 (a shell test is 1.5 times the rating)."""
        if not 0 < self.fraction <= 1.5:
            raise InputError("fraction", "A fraction of a rating lies over 0 and up to 1.5.", "Give for instance 0.7.")


@dataclass(frozen=True, slots=True)
class MaspPlus:
    """MASP plus a margin (Pa); by default only with the reference of an approval."""

    margin: float
    needs_approval: bool = True

    def __post_init__(self) -> None:
        """Refuse a margin under zero: it would test below what the well can bring."""
        if self.margin < 0:
            raise InputError("masp_plus", "The margin over MASP is negative.", "Give zero or more.")


@dataclass(frozen=True, slots=True)
class Fixed:
    """A fixed pressure, Pa."""

    pressure_gauge: GaugePressure

    def __post_init__(self) -> None:
        """Refuse a pressure of zero or less."""
        if self.pressure_gauge <= 0:
            raise InputError("fixed", "A test pressure is over zero.", "Give for instance 250 psi.")


@dataclass(frozen=True, slots=True)
class Approved:
    """The value a regulator approved, with its reference."""


@dataclass(frozen=True, slots=True)
class Least:
    """The least of several."""

    of: tuple["Formula", ...]


@dataclass(frozen=True, slots=True)
class Greatest:
    """The greatest of several."""

    of: tuple["Formula", ...]


@dataclass(frozen=True, slots=True)
class PerDepth:
    """A pressure for each length of the casing's depth, Pa/m: 1 psi/ft of the last casing's setting depth."""

    gradient: float

    def __post_init__(self) -> None:
        """Refuse a gradient of zero or less."""
        if self.gradient <= 0:
            raise InputError("per_casing_depth", "A gradient is over zero.", "Give for instance 1 psi/ft.")


Formula = Fraction | MaspPlus | Fixed | PerDepth | Approved | Least | Greatest


@dataclass(frozen=True, slots=True)
class LowBand:
    """The low test: held inside the band; over `restart_above_gauge` bleed to zero and start again."""

    min_gauge: GaugePressure
    max_gauge: GaugePressure
    restart_above_gauge: GaugePressure
    source: Source

    def __post_init__(self) -> None:
        """Refuse bands out of order."""
        if self.min_gauge <= 0:
            raise InputError("min", "The low band begins over zero.", "Give for instance 250 psi.")
        if self.max_gauge <= self.min_gauge:
            raise InputError("max", "The low band ends at or under its beginning.", "Give a max over the min.")
        if self.restart_above_gauge < self.max_gauge:
            raise InputError("restart_above", "The restart limit lies inside the low band.", "Give at least the max.")


@dataclass(frozen=True, slots=True)
class High:
    """The high test's pressure, with an alternative where the rule has one (used only when approved)."""

    formula: Formula
    source: Source
    alternative: Formula | None = None


@dataclass(frozen=True, slots=True)
class Hold:
    """How long a pressure is held, s; shorter when every condition of the reduced hold is met.

    Where the rule lets the low pressure be held for a shorter time, `low` says it.
    """

    duration: float
    source: Source
    reduced: float | None = None
    conditions: tuple[HoldCondition, ...] = ()
    low: float | None = None

    def __post_init__(self) -> None:
        """Refuse a hold of nothing, and a reduced hold that isn't shorter or has no condition."""
        if self.duration <= 0:
            raise InputError("time", "A hold lasts longer than nothing.", "Give for instance 5 min.")
        if self.reduced is not None and not 0 < self.reduced < self.duration:
            raise InputError("reduced", "The reduced hold is not between zero and the hold.", "Give a shorter time.")
        if self.low is not None and not 0 < self.low < self.duration:
            raise InputError("low", "The low hold is not between zero and the hold.", "Give a shorter time, or none.")
        if (self.reduced is None) != (not self.conditions):
            raise InputError("conditions", "A reduced hold and its conditions go together.", "Give both or neither.")


@dataclass(frozen=True, slots=True)
class Recurrence:
    """How often, and where the deadline lies."""

    interval: Interval
    deadline: Deadline
    source: Source


@dataclass(frozen=True, slots=True)
class EventTrigger:
    """Something that calls for the test whatever the interval says."""

    occasion: Occasion
    source: Source


@dataclass(frozen=True, slots=True)
class Scope:
    """What a rule applies to; an empty list means any."""

    kinds: tuple[str, ...] = ()
    stacks: tuple[str, ...] = ()
    positions: tuple[str, ...] = ()
    sides: tuple[str, ...] = ()
    occasions: tuple[str, ...] = ()

    def mismatches(self, subject: "Subject") -> frozenset[str]:
        """Return the names of the subject's fields that fall outside this scope."""
        asked = {
            "kind": (self.kinds, subject.kind),
            "stack": (self.stacks, subject.stack),
            "position": (self.positions, subject.position),
            "side": (self.sides, subject.side),
            "occasion": (self.occasions, subject.occasion),
        }
        return frozenset(name for name, (known, given) in asked.items() if known and given not in known)


@dataclass(frozen=True, slots=True)
class PressureRule:
    """One requirement of a pressure test.

    Attributes:
        id: stable name of the rule.
        clause: where the requirement as a whole stands.
        title: the requirement in our words.
        confidence: how surely the requirement as a whole is known.
        scopes: what it applies to; any one of them suffices.
        low: low test, None where the rule states none.
        high: high test.
        hold: how long both are held, None where the rule states no time.
        recurs: the interval, None where only events call for the test.
        events: the events that call for it.
        acceptance: what counts as passed, in our words.
    """

    id: str
    clause: str
    title: str
    confidence: Confidence
    scopes: tuple[Scope, ...]
    low: LowBand | None
    high: High
    hold: Hold | None
    recurs: Recurrence | None = None
    events: tuple[EventTrigger, ...] = ()
    acceptance: str = ""

    kind: str = "pressure"


@dataclass(frozen=True, slots=True)
class ExemptRule:
    """A statement that something is not pressure tested, with its reason."""

    id: str
    clause: str
    title: str
    confidence: Confidence
    scopes: tuple[Scope, ...]
    reason: str

    kind: str = "exempt"


Rule = PressureRule | ExemptRule


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedRule:
    """What every statement beside the pressure rules says of itself.

    Attributes:
        id: stable name of the rule.
        clause: where the requirement stands.
        title: the requirement in our words.
        confidence: how surely its figures are known.
        scopes: what it applies to; any one of them suffices.
        note: what the reader must know of the figures.
        recurs: the interval, None where only events call for it, or nothing does.
        events: the events that call for it.
    """

    id: str
    clause: str
    title: str
    confidence: Confidence
    scopes: tuple[Scope, ...] = ()
    note: str = ""
    recurs: Recurrence | None = None
    events: tuple[EventTrigger, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BankRule(StatedRule):
    """A requirement on accumulators and pumps, see `calcs.bank_rules`; no scope at all means every bank."""


@dataclass(frozen=True, slots=True)
class Edition:
    """One published rule set as it stood from a date.

    Attributes:
        id: regime and edition, ``us-ocs/2023``.
        regime: the rule set whatever its edition, ``us-ocs``.
        title: the document's title.
        edition: its edition in words.
        effective_from: first day in force, None where that is not known.
        effective_until: last day in force, None while it is.
        source: where the figures come from, in words.
        checked_on: when the figures were last compared with that.
        signatures: whose signatures a test record needs; None where the edition does not say (`calcs.signing`).
        aliases: other names the document goes by.
        rules: its rules.
        bank_rules: its rules on accumulators and pumps.
        schedule_rules: what else recurs or is called for by events, see `calcs.schedule_rules`.
        source_id: of a rig's own copy, the id of the published edition it was made from; else empty.
        own: of a rig's own copy, the figures changed in it.
    """

    id: str
    regime: str
    title: str
    edition: str
    effective_from: dt.date | None
    source: str
    checked_on: dt.date
    rules: tuple[Rule, ...]
    effective_until: dt.date | None = None
    signatures: SignaturesNeeded | None = None
    aliases: tuple[str, ...] = ()
    bank_rules: tuple[BankRule, ...] = ()
    schedule_rules: tuple[StatedRule, ...] = ()
    source_id: str = ""
    own: tuple[OwnFigure, ...] = ()

    @property
    def ordered_by(self) -> tuple[dt.date, str]:
        """By when it came into force, to tell the latest of several; one of unknown date comes first."""
        return (self.effective_from or dt.date.min, self.id)

    @property
    def asks_pressure_tests(self) -> bool:
        """Whether any of its rules asks for a pressure test, so that a rig can be tested by it."""
        return any(isinstance(rule, PressureRule) for rule in self.rules)

    def rule(self, rule_id: str) -> Rule | None:
        """Return the rule of that id, or None."""
        return next((rule for rule in self.rules if rule.id == rule_id), None)

    def is_named(self, name: str) -> bool:
        """Tell whether `name` means this edition: its id, its regime, its title or an alias.

        Case and punctuation between words don't matter.
        """
        names = (self.id, self.regime, self.title, *self.aliases)
        return _plain(name) in {_plain(known) for known in names}


# Looked through for every element whenever a rig is reckoned: listing a vocabulary anew each time would show.
_POSITIONS: Final = tuple(Position)
_SIDES: Final = tuple(Side)
_OCCASIONS: Final = tuple(Occasion)


@dataclass(frozen=True, slots=True)
class Subject:
    """What a rule is looked up for: one element, in its place, on an occasion."""

    kind: str
    stack: StackKind = "surface"
    position: str = Position.NONE
    side: str = Side.NONE
    occasion: str = Occasion.INTERVAL

    def __post_init__(self) -> None:
        """Refuse words outside the vocabulary."""
        _known("kind", self.kind, KIND_LABELS)
        _known("stack", self.stack, STACKS)
        _known("position", self.position, _POSITIONS)
        _known("side", self.side, _SIDES)
        _known("occasion", self.occasion, _OCCASIONS)

    @property
    def at_surface(self) -> bool:
        """Whether the element is part of a surface stack or surface equipment of a subsea one."""
        at_surface = self.kind in ALWAYS_AT_SURFACE or self.position == Position.SURFACE_EQUIPMENT
        return self.stack == "surface" or at_surface


@dataclass(frozen=True, slots=True)
class Choice:
    """The rules that apply to a subject, the strictest first, all kept.

    Strictest by declared comparison, in this order: a test before no test, the shorter interval, the
    longer hold, the higher low band, the id. `calcs.requirements.required_pressures` compares the
    pressures themselves figure by figure, since those depend on ratings and MASP.
    """

    subject: Subject
    rules: tuple[Rule, ...]

    @property
    def rule(self) -> Rule:
        """The strictest rule."""
        return self.rules[0]

    @property
    def exempt(self) -> ExemptRule | None:
        """The exemption, when no applicable rule asks for a test."""
        return self.rule if isinstance(self.rule, ExemptRule) else None

    @property
    def pressure_rules(self) -> tuple[PressureRule, ...]:
        """The applicable rules that ask for a test, the strictest first."""
        return tuple(rule for rule in self.rules if isinstance(rule, PressureRule))

    @property
    def recurrence(self) -> Recurrence | None:
        """The shortest interval among the applicable rules, None when only events call for the test."""
        found = [rule.recurs for rule in self.pressure_rules if rule.recurs]
        return min(found, key=lambda recurs: recurs.interval.roughly_days, default=None)


def choose(edition: Edition | Sequence[Edition], subject: Subject) -> Choice:
    """Return the rules of `edition` (or of several in force together) that apply to `subject`.

    Raises InputError naming the field that found no rule: never a default.
    """
    editions = (edition,) if isinstance(edition, Edition) else tuple(edition)
    rules = [rule for one in editions for rule in one.rules]
    applicable = [rule for rule in rules if applies(rule, subject)]
    if not applicable:
        raise _no_rule(editions, rules, subject)
    return Choice(subject, tuple(sorted(applicable, key=_strictness)))


def applies(rule: Rule, subject: Subject) -> bool:
    """Tell whether `rule` applies to `subject` on its occasion."""
    return any(not scope.mismatches(subject) for scope in rule.scopes) and _called_for(rule, subject.occasion)


def _plain(name: str) -> str:
    """Return a name without what people write differently: case, commas, blanks, the last full stop."""
    return " ".join(name.casefold().replace(",", " ").replace("§", " ").split()).removesuffix(".")


def least_sure(sources: Sequence[Source]) -> Confidence:
    """Return the least sure confidence among `sources`."""
    return max((source.confidence for source in sources), key=_SURENESS.index)


def _called_for(rule: Rule, occasion: str) -> bool:
    if isinstance(rule, ExemptRule):
        return True
    if occasion == Occasion.INTERVAL:
        return rule.recurs is not None
    return any(event.occasion == occasion for event in rule.events)


def _strictness(rule: Rule) -> tuple[float, float, float, float, str]:
    if isinstance(rule, ExemptRule):
        return (1, 0, 0, 0, rule.id)
    days = rule.recurs.interval.roughly_days if rule.recurs else float("inf")
    hold = rule.hold.duration if rule.hold else 0.0
    return (0, days, -hold, -(rule.low.min_gauge if rule.low else 0.0), rule.id)


def _no_rule(editions: Sequence[Edition], rules: Sequence[Rule], subject: Subject) -> InputError:
    """Say which of the subject's fields keep every rule away."""
    named = " and ".join(edition.id for edition in editions) or "an empty rule book"
    misses = [scope.mismatches(subject) for rule in rules for scope in rule.scopes]
    fewest = min(misses, key=len, default=frozenset({"kind"})) or frozenset({"occasion"})
    at_fault = [name for name in ("kind", "stack", "position", "side", "occasion") if name in fewest]
    given = ", ".join(f"{name} {getattr(subject, name) or 'not given'}" for name in at_fault)
    return InputError(
        f"component.{at_fault[0]}" if at_fault[0] == "kind" else at_fault[0],
        f"No rule of {named} was found for: {given}.",
        "Check these fields, or state the requirement in a programme with its approval.",
    )


def _known(field: str, given: str, known: Any) -> None:
    if given not in known:
        listed = ", ".join(word or "nothing" for word in known)
        raise InputError(field, f"{given!r} is not known here.", f"Give one of: {listed}.")
