"""Whether a pressure held on casing or a diverter shows what its rule asks: pressure, time, fall. All gauge, in Pa."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from calcs.errors import InputError
from calcs.rules import Fixed, Formula, Fraction, Rating
from calcs.schedule_rules import ScheduledRule

_MINUTE: Final = 60.0
_ROUNDING: Final = 1.0
"""Pa. Below what any gauge reads, and over what a change of units may cost."""


@dataclass(frozen=True, slots=True)
class Hold:
    """A pressure that was held.

    Attributes:
        reached: when the hold began, Pa gauge.
        left: when it was over, Pa gauge.
        lasted: s.
    """

    reached: float
    left: float
    lasted: float

    def __post_init__(self) -> None:
        """Refuse pressures under zero and a hold of nothing."""
        if self.reached <= 0:
            raise InputError("pressure_reached", "A test pressure is over zero.", "Give it as read.")
        if self.left < 0:
            raise InputError("pressure_left", "A gauge pressure is not under zero here.", "Give it as read.")
        if self.lasted <= 0:
            raise InputError("held_minutes", "A hold lasts longer than nothing.", "Give the minutes it was held.")


@dataclass(frozen=True, slots=True)
class Shortfall:
    """One thing a hold does not show, with the value it concerns."""

    field: str
    reason: str


def required_gauge(formula: Formula, ratings: Mapping[Rating, float]) -> float | None:
    """Return the pressure a rule asks in Pa gauge; None where it hangs on what is not given.

    >>> required_gauge(Fraction(0.7, Rating.CASING_BURST), {Rating.CASING_BURST: 50e6})
    35000000.0
    """
    if isinstance(formula, Fixed):
        return float(formula.pressure_gauge)
    if isinstance(formula, Fraction) and formula.of in ratings:
        return formula.fraction * ratings[formula.of]
    return None


def shortfalls(rule: ScheduledRule, hold: Hold, ratings: Mapping[Rating, float]) -> tuple[Shortfall, ...]:
    """Return what the hold does not show of what the rule asks; nothing where it shows all that can be told.

    A fall is compared with the whole hold: one longer than the rule's time that falls no more shows it the better.
    """
    found = []
    required = required_gauge(rule.high.formula, ratings) if rule.high is not None else None
    if required is not None and hold.reached < required - _ROUNDING:
        found.append(Shortfall("pressure_reached", "The pressure is lower than the rule asks."))
    if rule.hold is not None and hold.lasted < rule.hold.duration:
        asked = rule.hold.duration / _MINUTE
        found.append(Shortfall("held_minutes", f"The rule asks for a hold of {asked:g} min."))
    if rule.decline is not None and hold.reached - hold.left > rule.decline.fraction * hold.reached + _ROUNDING:
        share = rule.decline.fraction * 100
        found.append(Shortfall("pressure_left", f"The pressure fell by more than the {share:g} % allowed."))
    return tuple(found)
