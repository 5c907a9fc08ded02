"""What published rules ask of accumulators and pumps: drawdown, recharge, precharge, closing times, pump settings.

`calcs.bank_rule_files` reads these rules from data. All pressures are gauge, in Pa; times in s; bores in m; a
fraction is of the rated working pressure of the closing system. A lookup that finds no rule says None or nothing,
never a default.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, TypeVar

from calcs.errors import InputError
from calcs.rules import BankRule, Confidence, Edition, Fixed, Source, StackKind, Subject, least_sure

LINE_VALVE_KINDS: Final = frozenset({"choke-valve", "kill-valve", "gate-valve-hydraulic"})
"""Kinds whose opening or closing time is compared with a ram's."""
RAM_KINDS: Final = frozenset({"pipe-ram", "variable-bore-ram", "blind-ram", "blind-shear-ram", "casing-shear-ram"})


class Movement(StrEnum):
    """What a function does; NONE in a rule means either."""

    NONE = ""
    CLOSE = "close"
    OPEN = "open"


class Pumps(StrEnum):
    """What charges the bank: every pump, or all but one pump or power system."""

    ALL = "all"
    ONE_OUT = "one-out"


class ChargeState(StrEnum):
    """Where a timed charging begins or ends: the precharge, or the rated working pressure of the system."""

    PRECHARGE = "precharge"
    RATED = "rated"


class PumpDuty(StrEnum):
    """Which pump a setting is for; NONE in a rule means any."""

    NONE = ""
    PRIMARY = "primary"
    SECONDARY = "secondary"


class PumpDrive(StrEnum):
    """What drives a pump; NONE in a rule means anything."""

    NONE = ""
    ELECTRIC = "electric"
    AIR = "air"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class AbovePrecharge:
    """A margin over the precharge, Pa."""

    margin: float

    def __post_init__(self) -> None:
        """Refuse a margin under zero: it would end under the precharge."""
        if self.margin < 0:
            raise InputError("above_precharge", "The margin over the precharge is negative.", "Give zero or more.")


@dataclass(frozen=True, slots=True)
class MinimumOperating:
    """The least pressure the stack still works and holds with."""


FinalPart = AbovePrecharge | MinimumOperating | Fixed


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawdownRule(BankRule):
    """A drawdown: what must be left after the functions, the greatest of `final`; which `functions`, in words."""

    final: tuple[FinalPart, ...]
    functions: str = ""

    kind: str = "drawdown"


@dataclass(frozen=True, slots=True, kw_only=True)
class RechargeRule(BankRule):
    """A timed charging: by which pumps, from where to where, within how many s."""

    pumps: Pumps
    within: float
    start: ChargeState = ChargeState.PRECHARGE
    end: ChargeState = ChargeState.RATED

    kind: str = "recharge"

    def __post_init__(self) -> None:
        """Refuse a time of nothing and a charging that goes nowhere."""
        if self.within <= 0:
            raise InputError("within", "Charging takes longer than nothing.", "Give for instance 15 min.")
        if (self.start, self.end) != (ChargeState.PRECHARGE, ChargeState.RATED):
            raise InputError("from", "A bank is charged from its precharge to its rated pressure.", "Give these.")


@dataclass(frozen=True, slots=True, kw_only=True)
class PrechargeRule(BankRule):
    """A check of every bottle's precharge: within `tolerance`, Pa, of the design's at the same gas temperature."""

    tolerance: float

    kind: str = "precharge"

    def __post_init__(self) -> None:
        """Refuse a tolerance of nothing."""
        if self.tolerance <= 0:
            raise InputError("tolerance", "A tolerance is over zero.", "Give for instance 100 psi.")


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseRule(BankRule):
    """How fast a component closes or opens, from activation to seal-off.

    Attributes:
        movement: the movement it limits, or either.
        bore_from: least nominal bore it is for, m.
        bore_under: the nominal bore it ends below, m.
        within: s, or None.
        as_fast_as_rams: not slower than the fastest ram timed in the same test.
    """

    movement: Movement = Movement.NONE
    bore_from: float | None = None
    bore_under: float | None = None
    within: float | None = None
    as_fast_as_rams: bool = False

    kind: str = "response"

    def __post_init__(self) -> None:
        """Refuse a rule that limits nothing, and bores out of order."""
        if self.within is None and not self.as_fast_as_rams:
            raise InputError("within", "The rule limits nothing.", "Give within, or not_slower_than.")
        if self.within is not None and self.within <= 0:
            raise InputError("within", "A movement takes longer than nothing.", "Give for instance 30 s.")
        if self.bore_from is not None and self.bore_under is not None and self.bore_under <= self.bore_from:
            raise InputError("bore_under", "The bores end at or under their beginning.", "Give more than bore_from.")

    def spans(self, bore: float | None) -> bool:
        """Tell whether the rule is for this nominal bore, m; an unknown bore may be any."""
        if bore is None:
            return True
        return (self.bore_from or 0.0) <= bore and (self.bore_under is None or bore < self.bore_under)


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpSettingRule(BankRule):
    """Where a pump starts and stops by itself, as fractions of the rated pressure, and the air it must do with.

    Attributes:
        duty: the pump it is for, or any.
        drive: the drive it is for, or any.
        starts_at_least: it has started before the pressure fell to this.
        stops_between: it stops from the first to the second.
        air_supply: it does its work on air of no more than this, Pa gauge.
    """

    duty: PumpDuty = PumpDuty.NONE
    drive: PumpDrive = PumpDrive.NONE
    starts_at_least: float | None = None
    stops_between: tuple[float, float] | None = None
    air_supply: float | None = None

    kind: str = "pump-setting"

    def __post_init__(self) -> None:
        """Refuse a rule that asks nothing, and fractions no pump is set to."""
        if (self.starts_at_least, self.stops_between, self.air_supply) == (None, None, None):
            raise InputError("starts_at_least", "The rule asks nothing.", "Give a start, a stop or the air supply.")
        if self.starts_at_least is not None and not 0 < self.starts_at_least < 1:
            raise InputError("starts_at_least", "A pump starts under the rated pressure.", "Give for instance 0.90.")
        if self.stops_between is not None and not 0 < self.stops_between[0] < self.stops_between[1] <= 1:
            raise InputError("stops_between", "These are no two fractions, the lower first.", "Give [0.97, 1.00].")
        if self.air_supply is not None and self.air_supply <= 0:
            raise InputError("air_supply", "Air drives a pump with more than nothing.", "Give for instance 75 psi.")


@dataclass(frozen=True, slots=True)
class ResponseLimit:
    """The time a rule allows one function.

    Attributes:
        within: s, or None.
        as_fast_as_rams: whether the fastest ram timed in the same test limits it too.
        rule_id: the rules it comes from, joined.
        clause: where it stands.
        confidence: how surely it is known.
        note: what the reader must know of it.
    """

    within: float | None
    as_fast_as_rams: bool
    rule_id: str
    clause: str
    confidence: Confidence
    note: str = ""


R = TypeVar("R", bound=BankRule)


def drawdown_rule(edition: Edition, *, stack: StackKind) -> DrawdownRule | None:
    """Return the edition's rule on drawdowns of a bank of such a stack, None where it has none."""
    return next(iter(_of(DrawdownRule, edition, stack)), None)


def recharge_rules(edition: Edition, *, stack: StackKind) -> tuple[RechargeRule, ...]:
    """Return the edition's rules on charging times, one a way of pumping at most."""
    return _of(RechargeRule, edition, stack)


def recharge_rule(edition: Edition, *, stack: StackKind, pumps: str) -> RechargeRule | None:
    """Return the rule for charging by these pumps, None where the edition has none."""
    return next((rule for rule in recharge_rules(edition, stack=stack) if rule.pumps == pumps), None)


def precharge_rule(edition: Edition, *, stack: StackKind) -> PrechargeRule | None:
    """Return the edition's rule on the precharge of bottles, None where it has none."""
    return next(iter(_of(PrechargeRule, edition, stack)), None)


def pump_setting_rules(
    edition: Edition, *, stack: StackKind, duty: str = PumpDuty.NONE, drive: str = PumpDrive.NONE
) -> tuple[PumpSettingRule, ...]:
    """Return the rules on the settings of a pump of that duty and drive; every one where neither is said."""
    return tuple(
        rule
        for rule in _of(PumpSettingRule, edition, stack)
        if (not duty or rule.duty in ("", duty)) and (not drive or rule.drive in ("", drive))
    )


def response_limit(
    edition: Edition, *, kind: str, stack: StackKind, bore: float | None = None, movement: str = Movement.CLOSE
) -> ResponseLimit | None:
    """Return the time allowed for a movement of a component, None where no rule speaks of it.

    The shortest of several counts. Where a rule goes by a bore (m) that is not known, the shorter time counts, and
    the note says so. Raises InputError for a kind that is none.
    """
    subject = Subject(kind=kind, stack=stack)
    rules = [
        rule
        for rule in edition.bank_rules
        if isinstance(rule, ResponseRule) and _suits(rule, subject) and rule.movement in ("", movement)
    ]
    rules = [rule for rule in rules if rule.spans(bore)]
    if not rules:
        return None
    timed = sorted((rule for rule in rules if rule.within is not None), key=lambda rule: rule.within or 0.0)
    used = [*timed[:1], *(rule for rule in rules if rule.as_fast_as_rams and rule not in timed[:1])]
    unknown = "" if bore is not None or len(timed) < 2 else "The bore is not known: the shorter time counts."
    return ResponseLimit(
        within=timed[0].within if timed else None,
        as_fast_as_rams=any(rule.as_fast_as_rams for rule in rules),
        rule_id=", ".join(rule.id for rule in used),
        clause="; ".join(dict.fromkeys(rule.clause for rule in used)),
        confidence=least_sure([Source(rule.clause, rule.confidence) for rule in used]),
        note=" ".join(filter(None, [*(rule.note for rule in used), unknown])),
    )


def response_misses(
    edition: Edition, *, kind: str, stack: StackKind, bore: float | None = None, movement: str = Movement.CLOSE
) -> tuple[str, ...] | None:
    """Return which of kind, stack, movement and bore found no rule on times, by the rule that comes nearest.

    None where the edition has no such rule at all, nothing where one is found.
    """
    subject = Subject(kind=kind, stack=stack)
    rules = [rule for rule in edition.bank_rules if isinstance(rule, ResponseRule)]
    misses = [_response_misses(rule, subject, bore, movement) for rule in rules]
    if not misses:
        return None
    nearest = min(misses, key=len)
    return tuple(name for name in _ASKED_OF_TIMES if name in nearest)


_ASKED_OF_TIMES: Final = ("kind", "stack", "movement", "bore")


def _response_misses(rule: ResponseRule, subject: Subject, bore: float | None, movement: str) -> frozenset[str]:
    scopes = [scope.mismatches(subject) for scope in rule.scopes]
    nearest = min(scopes, key=len) if scopes else frozenset[str]()
    missed = set(nearest)
    if rule.movement not in ("", movement):
        missed.add("movement")
    if not rule.spans(bore):
        missed.add("bore")
    return frozenset(missed)


def refuse_rivals(rules: Sequence[BankRule]) -> None:
    """Refuse two rules that would answer one question, of which one would be silently left out.

    Raises InputError for ``rules``.
    """
    for index, rule in enumerate(rules):
        for other in rules[:index]:
            if _rival(rule, other):
                raise InputError(
                    "rules",
                    f"{rule.id!r} and {other.id!r} answer the same question.",
                    "Give them different stacks, or write one rule.",
                )


def _rival(rule: BankRule, other: BankRule) -> bool:
    same = type(rule) is type(other) and isinstance(rule, DrawdownRule | PrechargeRule | RechargeRule)
    if isinstance(rule, RechargeRule) and isinstance(other, RechargeRule) and rule.pumps != other.pumps:
        return False
    return same and bool(_stacks(rule) & _stacks(other))


def _stacks(rule: BankRule) -> frozenset[str]:
    both = frozenset({"surface", "subsea"})
    return frozenset().union(*(frozenset(scope.stacks) or both for scope in rule.scopes)) if rule.scopes else both


def _of(wanted: type[R], edition: Edition, stack: StackKind) -> tuple[R, ...]:
    return tuple(rule for rule in edition.bank_rules if isinstance(rule, wanted) and stack in _stacks(rule))


def _suits(rule: BankRule, subject: Subject) -> bool:
    return not rule.scopes or any(not scope.mismatches(subject) for scope in rule.scopes)
