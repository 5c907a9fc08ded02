"""What a rule makes of one function worked: the time it took against the time allowed, and whether it worked at all.

Times are in s, from activation to complete operation or seal-off; volumes in m³; bores in m. Closing times are those
of `calcs.bank_rules`. A time no rule limits is told and not judged: the line then stands on having worked completely.
What a rule limits and nobody timed is not passed: nothing shows that the limit was kept.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from calcs.bank_rules import RAM_KINDS, Movement, ResponseLimit, response_limit, response_misses
from calcs.errors import InputError
from calcs.rules import KIND_LABELS, Confidence, Edition, StackKind
from calcs.units import DISPLAY_UNITS, Dimension, System, from_si

MUST_CLOSE: Final = RAM_KINDS | {"annular"}
"""Kinds whose job is to close: one that was only opened was not function tested (common practice)."""
LONGEST_S: Final = 3600.0
"""Longest time of one movement accepted, s."""
_ROUNDING_S: Final = 1e-6
_RISES_TOLD: Final = 3
"""How many times in a row a movement must have been slower than the time before, to be pointed out."""


class Ways(StrEnum):
    """How something was worked, in order; SEQUENCE is a station, pod or emergency sequence worked as a whole."""

    CLOSE_OPEN = "close-open"
    OPEN_CLOSE = "open-close"
    CLOSE = "close"
    OPEN = "open"
    SEQUENCE = "sequence"

    @property
    def movements(self) -> tuple[Movement, ...]:
        """The movements made, in order; a sequence is one, timed to its completion.

        >>> Ways.OPEN_CLOSE.movements
        (<Movement.OPEN: 'open'>, <Movement.CLOSE: 'close'>)
        """
        if self is Ways.SEQUENCE:
            return (Movement.CLOSE,)
        return tuple(Movement(part) for part in self.value.split("-"))


@dataclass(frozen=True, slots=True)
class Moved:
    """One movement as it was made: the time it took and the fluid it used, where they were taken."""

    movement: Movement
    seconds: float | None = None
    volume: float | None = None

    def __post_init__(self) -> None:
        """Refuse times and volumes nothing takes."""
        if self.seconds is not None and not 0 < self.seconds <= LONGEST_S:
            raise InputError("seconds", "The time is not over zero or is over an hour.", "Give it in seconds.")
        if self.volume is not None and not 0 < self.volume <= 100:
            raise InputError("volume", "The volume is not over zero or is absurd.", "Check the figure and its unit.")


@dataclass(frozen=True, slots=True)
class FunctionWorked:
    """One component or control item as it was worked.

    Attributes:
        kind: of component, or a word of `calcs.schedule_rules.THING_LABELS`.
        stack: of the stack it belongs to.
        ways: how it was worked.
        moves: each movement made, with what was taken of it.
        completed: whether it worked completely; None while nobody said so.
        bore: nominal bore, m, where it has one on file.
        sequence_within: the time a scheduled rule allows the whole, s, with its clause in `sequence_clause`.
    """

    kind: str
    stack: StackKind
    ways: Ways
    moves: tuple[Moved, ...]
    completed: bool | None
    bore: float | None = None
    sequence_within: float | None = None
    sequence_clause: str = ""


@dataclass(frozen=True, slots=True)
class TimeVerdict:
    """What the rules made of the time of one movement.

    Attributes:
        movement: made.
        seconds: it took; None where it was not timed.
        limit: the time allowed, s; None where no rule limits it, or none could be compared with.
        passes: None where no rule speaks of it.
        margin: limit less time, s; negative over it.
        rule_id: the rules it comes from, joined.
        clause: where it stands; empty where no rule speaks of it.
        confidence: how surely it is known.
        words: limit and margin in words, or why there is none.
        note: what the reader must know of the rule.
    """

    movement: Movement
    seconds: float | None
    limit: float | None
    passes: bool | None
    margin: float | None
    rule_id: str
    clause: str
    confidence: Confidence | None
    words: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class FunctionVerdict:
    """What a line came to.

    Attributes:
        passes: None while nobody said whether it worked completely.
        times: by movement made.
        reasons: why it does not pass, in words.
        judged_by: what it stands on, in words.
        notes: what did not fail it and has to be seen.
    """

    passes: bool | None
    times: tuple[TimeVerdict, ...]
    reasons: tuple[str, ...]
    judged_by: str
    notes: tuple[str, ...]


def judge_function(edition: Edition, worked: FunctionWorked, fastest_ram: float | None) -> FunctionVerdict:
    """Return what the rules make of one function worked.

    `fastest_ram` is the shortest closing time, s, of a ram that closed completely in the same test; None without one.
    """
    times = tuple(_time_verdict(edition, worked, move, fastest_ram) for move in worked.moves)
    reasons = () if worked.completed is None else tuple(_reasons(worked, times))
    return FunctionVerdict(
        passes=None if worked.completed is None else not reasons,
        times=times,
        reasons=reasons,
        judged_by=_judged_by(times),
        notes=tuple(dict.fromkeys(_notes(worked, times))),
    )


def fastest_closing(worked: Iterable[FunctionWorked]) -> float | None:
    """Return the shortest closing time, s, of the rams that closed completely, None where none was timed."""
    found = [
        move.seconds
        for one in worked
        if one.kind in RAM_KINDS and one.completed
        for move in one.moves
        if move.movement is Movement.CLOSE and move.seconds is not None
    ]
    return min(found, default=None)


def _time_verdict(edition: Edition, worked: FunctionWorked, move: Moved, fastest_ram: float | None) -> TimeVerdict:
    if worked.ways is Ways.SEQUENCE:
        return _sequence_verdict(worked, move)
    limit = response_limit(edition, kind=worked.kind, stack=worked.stack, bore=worked.bore, movement=move.movement)
    if limit is None:
        return _unlimited(edition, worked, move)
    allowed = [limit.within] if limit.within is not None else []
    allowed += [fastest_ram] if limit.as_fast_as_rams and fastest_ram is not None else []
    least = min(allowed, default=None)
    incomparable = limit.as_fast_as_rams and fastest_ram is None
    return TimeVerdict(
        movement=move.movement,
        seconds=move.seconds,
        limit=least,
        passes=move.seconds is not None and not incomparable and _kept(move.seconds, least),
        margin=None if least is None or move.seconds is None else least - move.seconds,
        rule_id=limit.rule_id,
        clause=limit.clause,
        confidence=limit.confidence,
        words=_limit_words(limit, move, least, fastest_ram),
        note=limit.note,
    )


def _kept(seconds: float, limit: float | None) -> bool:
    return limit is None or seconds <= limit + _ROUNDING_S


def _sequence_verdict(worked: FunctionWorked, move: Moved) -> TimeVerdict:
    within = worked.sequence_within
    if within is None:
        said = "" if move.seconds is None else f"{time_words(move.seconds)}: no rule limits it."
        return TimeVerdict(move.movement, move.seconds, None, None, None, "", "", None, said)
    return TimeVerdict(
        movement=move.movement,
        seconds=move.seconds,
        limit=within,
        passes=move.seconds is not None and _kept(move.seconds, within),
        margin=None if move.seconds is None else within - move.seconds,
        rule_id="",
        clause=worked.sequence_clause,
        confidence=None,
        words=f"{time_words(within)} allowed{_margin_words(move.seconds, within)}.",
    )


def _unlimited(edition: Edition, worked: FunctionWorked, move: Moved) -> TimeVerdict:
    return TimeVerdict(
        movement=move.movement,
        seconds=move.seconds,
        limit=None,
        passes=None,
        margin=None,
        rule_id="",
        clause="",
        confidence=None,
        words=_no_rule_words(edition, worked, move.movement),
    )


def _no_rule_words(edition: Edition, worked: FunctionWorked, movement: Movement) -> str:
    misses = response_misses(edition, kind=worked.kind, stack=worked.stack, bore=worked.bore, movement=movement)
    if misses is None:
        return "No time limit: the rules followed state no closing times."
    bore = "no bore" if worked.bore is None else f"bore {from_si(worked.bore, 'in', Dimension.LENGTH):.5g} in"
    given = {
        "kind": KIND_LABELS.get(worked.kind, worked.kind),
        "stack": f"{worked.stack} stack",
        "movement": _MOVED_WORDS[movement],
        "bore": bore,
    }
    return f"No time limit: no rule was found for {' and '.join(given[name] for name in misses)}."


def _limit_words(limit: ResponseLimit, move: Moved, least: float | None, fastest_ram: float | None) -> str:
    if least is None:
        return "No slower than the fastest ram of the same test, and no ram was timed in it."
    by_ram = limit.as_fast_as_rams and least == fastest_ram
    said = f"{time_words(least)}, the fastest ram of this test" if by_ram else f"{time_words(least)} allowed"
    return f"{said}{_margin_words(move.seconds, least)}."


def _margin_words(seconds: float | None, limit: float) -> str:
    if seconds is None:
        return ", not timed"
    margin = limit - seconds
    if abs(margin) < _ROUNDING_S:
        return ", taken to the last of it"
    return f", {time_words(margin)} to spare" if margin > 0 else f", {time_words(-margin)} over"


_MOVED_WORDS: Final = {Movement.CLOSE: "closing", Movement.OPEN: "opening"}


def _reasons(worked: FunctionWorked, times: Iterable[TimeVerdict]) -> Iterator[str]:
    if not worked.completed:
        yield "It did not work completely."
    if worked.ways is Ways.OPEN and worked.kind in MUST_CLOSE:
        yield "It was not closed: a preventer is function tested by closing it."
    for one in times:
        if one.passes is False:
            yield _over(worked, one)


def _over(worked: FunctionWorked, one: TimeVerdict) -> str:
    what = "The sequence" if worked.ways is Ways.SEQUENCE else _MOVED_WORDS[one.movement].capitalize()
    if one.seconds is None:
        return f"{what} was not timed, and the rule limits it."
    if one.limit is None:
        return f"{what} took {time_words(one.seconds)}; no ram was timed in this test to compare it with."
    return f"{what} took {time_words(one.seconds)}; the rule allows {time_words(one.limit)}."


def _judged_by(times: Sequence[TimeVerdict]) -> str:
    clauses = list(dict.fromkeys(one.clause for one in times if one.clause))
    if not clauses:
        return "Judged by having worked completely: no rule followed limits its time."
    return f"Judged by having worked completely, and by {'; '.join(clauses)}."


def _notes(worked: FunctionWorked, times: Iterable[TimeVerdict]) -> Iterator[str]:
    for one in times:
        if one.note:
            yield one.note
    if worked.ways is Ways.CLOSE and worked.completed:
        yield "It was closed and not opened again in this test."


def time_words(seconds: float) -> str:
    """Return a time in words: seconds to two minutes, minutes and seconds beyond, to a tenth.

    >>> time_words(9.2), time_words(30), time_words(150.04)
    ('9.2 s', '30 s', '2 min 30 s')
    """
    rounded = round(seconds, 1)
    if rounded <= 120:
        return f"{rounded:g} s"
    minutes, rest = divmod(rounded, 60)
    return f"{minutes:.0f} min {rest:.3g} s" if round(rest, 1) else f"{minutes:.0f} min"


def trend_words(seconds: float | None, earlier: Sequence[float]) -> str:
    """Return a time beside those of the times before, the latest first; empty where there is none to hold it beside.

    >>> trend_words(9.2, [6.8, 6.7])
    '9.2 s, 6.8 s last time, 6.7 s the time before.'
    >>> trend_words(9.2, [8.1, 7.4, 6.8])
    '9.2 s, 8.1 s last time, 7.4 s the time before. Slower each time, 3 times in a row.'
    """
    if seconds is None or not earlier:
        return ""
    said = f"{time_words(seconds)}, {time_words(earlier[0])} last time"
    said += f", {time_words(earlier[1])} the time before." if len(earlier) > 1 else "."
    rises = _rises([seconds, *earlier])
    return f"{said} Slower each time, {rises} times in a row." if rises >= _RISES_TOLD else said


def _rises(latest_first: Sequence[float]) -> int:
    count = 0
    while count + 1 < len(latest_first) and latest_first[count] > latest_first[count + 1]:
        count += 1
    return count


def volume_words(used: float | None, on_file: float | None, system: System) -> str:
    """Return the fluid used beside the component's own on file, in words; empty where either is not known.

    Told and never judged: how far they may differ is the maker's to say (common practice).

    >>> volume_words(0.0420, 0.0400, "si")
    '42 L used, 40 L on file: 5 % more.'
    """
    if used is None or on_file is None or on_file <= 0:
        return ""
    unit = DISPLAY_UNITS[system][Dimension.VOLUME]
    given, known = (f"{from_si(one, unit, Dimension.VOLUME):.3g} {unit}" for one in (used, on_file))
    percent = round(100 * (used / on_file - 1))
    differs = f"{abs(percent)} % {'more' if percent > 0 else 'less'}" if percent else "the same"
    return f"{given} used, {known} on file: {differs}."
