"""Published rules in words of our own: what a figure asks, when it is due, what it applies to."""

from collections.abc import Sequence
from typing import Final

from calcs.recurrence import Deadline
from calcs.rules import (
    KIND_LABELS,
    Approved,
    Fixed,
    Formula,
    Fraction,
    Greatest,
    High,
    Hold,
    HoldCondition,
    Least,
    LowBand,
    MaspPlus,
    Occasion,
    PerDepth,
    Position,
    Rating,
    Recurrence,
    Scope,
    Side,
)
from calcs.units import Dimension
from calcs.working import Amount

OCCASION_WORDS: Final = {
    Occasion.INTERVAL: "on the interval",
    Occasion.INSTALLED: "on installation",
    Occasion.REFITTED: "after being taken out and put back",
    Occasion.REPAIRED: "after a repair",
    Occasion.SEAL_BROKEN: "after a pressure seal was broken",
    Occasion.BEFORE_DRILL_OUT: "before drilling out a casing or liner",
    Occasion.HIGHER_MASP: "before a section of higher MASP",
    Occasion.PIPE_SIZE_CHANGED: "after a change of pipe size",
    Occasion.STUMP: "on the stump",
    Occasion.LANDED: "once landed on the wellhead",
    Occasion.RELATCHED: "after the stack was latched again",
    Occasion.LMRP_RELATCHED: "after the lower marine riser package was latched again",
    Occasion.COMMISSIONED: "when commissioned",
    Occasion.BEFORE_RUNNING_CASING: "before running casing",
    Occasion.CEMENTED: "after cementing, before drilling on",
    Occasion.BEFORE_RESERVOIR: "before the reservoir is drilled",
    Occasion.TRIP: "on each trip",
    Occasion.TOUR: "on each tour",
    Occasion.BETWEEN_WELLS: "between wells",
    Occasion.PIPE_SHEARED: "after pipe was sheared",
    Occasion.STATION_DOWN: "when a control station or pod does not work",
    Occasion.FAILURE_FOUND: "when a failure is found",
    Occasion.ANALYSIS_BEGUN: "once the analysis of a failure has begun",
    Occasion.TEST_PLANNED: "before a test planned",
    Occasion.TEST_CONCLUDED: "after a test concluded",
}
_PLACE_WORDS: Final = {
    Position.NONE: "wherever no place is given",
    Position.ABOVE_UPPERMOST_RAM: "above the uppermost ram",
    Position.BELOW_UPPERMOST_RAM: "below the uppermost ram",
    Position.SURFACE_EQUIPMENT: "among the surface equipment",
}
_SIDE_WORDS: Final = {Side.NONE: "no side given", Side.INSIDE: "the well's side", Side.OUTSIDE: "the far side"}
_CONDITION_WORDS: Final = {
    HoldCondition.AT_SURFACE: "for equipment at the surface",
    HoldCondition.ELIGIBLE_RECORDER: "recorded on a chart or digital recorder the rule accepts",
}


def low_words(low: LowBand | None) -> str:
    """Return what the low test asks.

    >>> low_words(None)
    'No low test'
    """
    if low is None:
        return "No low test"
    band = f"{_psi(low.min_gauge)} to {_psi(low.max_gauge)}"
    return (
        f"Low test at {band}, before the high test; over {_psi(low.restart_above_gauge)} bled to zero and begun again"
    )


def high_words(high: High) -> str:
    """Return what the high test asks.

    >>> from calcs.rules import Confidence, Source
    >>> high_words(High(Fraction(0.7), Source("b(3)", Confidence.READ), MaspPlus(0)))
    'High test at 70 % of the RWP of the component, or MASP where approved'
    """
    words = f"High test at {formula_words(high.formula)}"
    return f"{words}, or {formula_words(high.alternative)} where approved" if high.alternative else words


def formula_words(formula: Formula) -> str:
    """Return a pressure of the rules in words."""
    match formula:
        case Fraction(fraction, of):
            rating = _rating_words(of)
            return rating if fraction == 1 else f"{fraction * 100:g} % of {rating}"
        case MaspPlus(margin):
            return f"MASP plus {_psi(margin)}" if margin else "MASP"
        case Fixed(pressure):
            return _psi(pressure)
        case PerDepth(gradient):
            return f"{Amount(gradient, Dimension.PRESSURE_GRADIENT).text('us')} of the last casing's depth"
        case Approved():
            return "the approved pressure"
        case Least(of):
            return f"the least of {', '.join(_term_words(one) for one in of)}"
        case Greatest(of):
            return f"the greatest of {', '.join(_term_words(one) for one in of)}"


def _term_words(term: Formula) -> str:
    """Return one of several pressures compared; a comparison inside it stands in brackets."""
    return f"({formula_words(term)})" if isinstance(term, Least | Greatest) else formula_words(term)


def hold_words(hold: Hold | None) -> str:
    """Return how long a pressure is held.

    >>> from calcs.rules import Confidence, Source
    >>> hold_words(Hold(300, Source("c", Confidence.READ), 180, (HoldCondition.AT_SURFACE,)))
    'Each hold lasts 5 min; 3 min for equipment at the surface'
    """
    if hold is None:
        return "No time of holding is stated in what is on file"
    words = f"Each hold lasts {hold.duration / 60:g} min"
    if hold.low is not None:
        return f"The low pressure is held {hold.low / 60:g} min, the high one {hold.duration / 60:g} min"
    if hold.reduced is None:
        return words
    conditions = " ".join(_CONDITION_WORDS[condition] for condition in hold.conditions)
    return f"{words}; {hold.reduced / 60:g} min {conditions}"


def recurrence_words(recurs: Recurrence) -> str:
    """Return how often, and where the deadline lies.

    >>> from calcs.recurrence import Interval
    >>> from calcs.rules import Confidence, Source
    >>> recurrence_words(Recurrence(Interval.parse("14 d"), Deadline.EXACT, Source("a(2)", Confidence.READ)))
    'Every 14 days, begun by the same clock time'
    """
    last = (
        "before midnight at the end of the last day"
        if recurs.deadline is Deadline.MIDNIGHT
        else "by the same clock time"
    )
    return f"Every {recurs.interval.words}, begun {last}"


def scope_words(scope: Scope) -> str:
    """Return what a rule applies to.

    >>> scope_words(Scope(kinds=("annular",), stacks=("subsea",)))
    'Annular; on a subsea stack'
    >>> scope_words(Scope())
    'Everything'
    """
    kinds = ", ".join(_kind_words(kind) for kind in scope.kinds) or "everything"
    parts = [f"{kinds[:1].upper()}{kinds[1:]}"]
    if scope.stacks:
        parts.append(f"on a {' or '.join(scope.stacks)} stack")
    if scope.positions:
        parts.append(_either([_PLACE_WORDS[Position(one)] for one in scope.positions]))
    if scope.sides:
        parts.append(f"pressed from {_either([_SIDE_WORDS[Side(one)] for one in scope.sides])}")
    if scope.occasions:
        parts.append(_either([OCCASION_WORDS[Occasion(one)] for one in scope.occasions]))
    return "; ".join(parts)


def _kind_words(kind: str) -> str:
    """Return a kind without a comma of its own, to stand in a list: "hydraulic gate valve"."""
    name, _, which = KIND_LABELS[kind].partition(", ")
    return f"{which} {name}".strip()


def _either(words: Sequence[str]) -> str:
    return " or ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]


def _rating_words(of: Rating) -> str:
    if of is Rating.CASING_BURST:
        return "the casing's internal yield"
    return f"the RWP of the {of.value}"


def _psi(pressure: float) -> str:
    return Amount(pressure, Dimension.PRESSURE).text("us")
