"""How each requirement of a rig went over time: piece by piece, as what was asked of it changed, put together as one.

What a rig owes is worked out at each moment at which something is put in, taken out or asked anew (a *turn*). Between
two of them the history of each requirement alone says how it stood.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from calcs.conditions import Basis, Condition, Span, condition_of, in_utc, spans
from calcs.exceeded import Exceedance, cut, joined, told
from calcs.recurrence import Deferred
from tests_app.models import What
from tests_app.queries.deriving import Derived, Requirement, Scope, Subject
from tests_app.queries.deriving.derived import doing_of


@dataclass(frozen=True, slots=True)
class Turn:
    """A moment at which what is owed may change, with what was owed from there.

    Attributes:
        at: the moment.
        words: what happened, for what ended with it.
        scope: what was worked out anew; everything else stayed.
        owed: that, as worked out.
    """

    at: datetime
    words: str
    scope: Scope
    owed: Sequence[Derived]


@dataclass(frozen=True, slots=True)
class Piece:
    """A requirement over a time in which what was asked of it stayed the same."""

    derived: Derived
    begin: datetime
    end: datetime
    ended: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """A time in which a requirement was not met, or was past its date and deferred, with what it was about."""

    what: What
    subject: Subject
    key: str
    requirement: Requirement | None
    exceedance: Exceedance


@dataclass(frozen=True)
class Course:
    """How one requirement went: on one place of the rig where it has one, whatever stood there.

    Attributes:
        pieces: what was asked, one after the other.
        spans: how it stood; between them nothing was there to be tested.
        gaps: when it was not met.
    """

    what: What
    pieces: tuple[Piece, ...]
    spans: tuple[Span, ...]
    gaps: tuple[Gap, ...]

    @property
    def latest(self) -> Derived:
        """Return what is asked last."""
        return self.pieces[-1].derived

    @property
    def key(self) -> str:
        """Return the key of the obligation asked last."""
        return self.latest.key

    @property
    def subject(self) -> Subject:
        """Return what it is owed on last."""
        return self.latest.subject

    @property
    def details(self) -> tuple[str, ...]:
        """Return what stood there, one after the other."""
        return tuple(dict.fromkeys(piece.derived.subject.detail for piece in self.pieces))


def courses(turns: Sequence[Turn], *, until: datetime, zone: ZoneInfo) -> list[Course]:
    """Return how every requirement went from the first turn until a moment, in the order it was first owed."""
    threads: dict[tuple[str, str], _Thread] = {}
    for turn in turns:
        present = _placed(turn.owed)
        for place, thread in threads.items():
            if place not in present and thread.is_open and _covers(turn.scope, thread.asked):
                thread.close(turn.at, turn.words)
        for place, derived in present.items():
            threads.setdefault(place, _Thread()).follow(derived, turn)
    return [_course(thread.finished(until), turns[0].at, until, zone) for thread in threads.values()]


def _placed(owed: Iterable[Derived]) -> dict[tuple[str, str], Derived]:
    """Return what is owed by its place on the rig: what is put in there next carries on what stood there before."""
    found = list(owed)
    taken = Counter(_place_of(one) for one in found)
    return {(place if taken[place := _place_of(one)] == 1 else _own_place(one)): one for one in found}


def _place_of(derived: Derived) -> tuple[str, str]:
    subject = derived.subject
    is_fixed = subject.installation is not None and subject.position is not None
    return (
        (derived.what.value, f"position-{subject.position.pk}")
        if is_fixed and subject.position
        else _own_place(derived)
    )


def _own_place(derived: Derived) -> tuple[str, str]:
    return derived.what.value, derived.subject.key


def _covers(scope: Scope, derived: Derived) -> bool:
    """Tell whether it would have been worked out anew if it were still owed."""
    subject = derived.subject
    if scope.everything or not scope.asks(derived.what):
        return scope.everything and scope.asks(derived.what)
    if subject.component is not None:
        return scope.has_component(subject.component.pk)
    return subject.instrument is not None and subject.instrument.pk in scope.instruments


@dataclass
class _Thread:
    """One requirement being followed from turn to turn."""

    closed: list[Piece] = field(default_factory=list)
    open: tuple[Derived, datetime] | None = None

    @property
    def is_open(self) -> bool:
        return self.open is not None

    @property
    def asked(self) -> Derived:
        return self.open[0] if self.open is not None else self.closed[-1].derived

    def follow(self, derived: Derived, turn: Turn) -> None:
        if self.open is not None:
            if _asks_alike(self.open[0], derived):
                return
            self.close(turn.at, turn.words)
        self.open = derived, turn.at

    def close(self, at: datetime, words: str) -> None:
        if self.open is not None and self.open[1] < at:
            self.closed.append(Piece(*self.open, at, words))
        self.open = None

    def finished(self, until: datetime) -> tuple[Piece, ...]:
        if self.open is not None:
            self.closed.append(Piece(*self.open, until))
            self.open = None
        return tuple(self.closed)


def _asks_alike(one: Derived, other: Derived) -> bool:
    return (one.key, one.error, one.requirement, one.history, one.stated) == (
        other.key,
        other.error,
        other.requirement,
        other.history,
        other.stated,
    )


def _course(pieces: tuple[Piece, ...], since: datetime, until: datetime, zone: ZoneInfo) -> Course:
    what = pieces[-1].derived.what
    whole = joined([_spans_of(piece, since, until, zone) for piece in pieces])
    gaps = tuple(_gap(one, pieces) for one in told(whole, zone, doing_of(what)))
    return Course(what, pieces, whole, gaps)


def _gap(exceedance: Exceedance, pieces: Sequence[Piece]) -> Gap:
    begun = [piece for piece in pieces if in_utc(piece.begin) <= in_utc(exceedance.begin)]
    derived = (begun[-1] if begun else pieces[0]).derived
    return Gap(derived.what, derived.subject, derived.key, derived.requirement, exceedance)


def _spans_of(piece: Piece, since: datetime, until: datetime, zone: ZoneInfo) -> tuple[Span, ...]:
    """Return how it stood over a piece; one that runs at the beginning keeps its own, as far as it stood there."""
    derived, end = piece.derived, None if piece.end >= until else piece.end
    is_first = in_utc(piece.begin) == in_utc(since)
    begin = _stands_since(derived) if is_first else piece.begin
    if derived.error or derived.requirement is None:
        unknown = Basis(Condition.UNKNOWN, words=derived.error)
        return cut([Span(Condition.UNKNOWN, piece.begin.astimezone(zone), None, unknown)], None, end)
    if derived.stated is not None:
        return cut(_stated_spans(derived, piece, zone), begin, end, ended=piece.ended)
    clock = derived.clock(zone)
    found = spans(
        clock.interval,
        clock.deadline,
        derived.history,
        since=piece.begin,
        until=piece.end,
        zone=zone,
        forget=clock.forget,
    )
    return cut(found, begin, end, ended=piece.ended)


def _stands_since(derived: Derived) -> datetime | None:
    """Return since when what it is owed on has stood there; None for what has no place."""
    subject = derived.subject
    if subject.installation is not None:
        return subject.installation.installed_at
    if subject.control_item is not None:
        return subject.control_item.in_service_from
    return None


def _stated_spans(derived: Derived, piece: Piece, zone: ZoneInfo) -> tuple[Span, ...]:
    """Return how something with a date of its own stood, found by asking at each moment it can change."""
    assert derived.stated is not None
    moments = [piece.begin]
    edges = [derived.stated.limit, derived.stated.since if derived.stated.is_open else None]
    for event in derived.history:
        edges += [event.at, event.until] if isinstance(event, Deferred) else []
    moments += sorted(in_utc(edge) for edge in edges if edge is not None and piece.begin < edge < piece.end)
    return joined(
        [[_stated_span(derived, at, end, zone)] for at, end in zip(moments, [*moments[1:], None], strict=True)]
    )


def _stated_span(derived: Derived, at: datetime, end: datetime | None, zone: ZoneInfo) -> Span:
    found = derived.due(at=at, zone=zone)
    assert found is not None
    condition = condition_of(found, at=at)
    begin = at
    if condition in (Condition.OVERDUE, Condition.OPEN) and found.due_at is not None and found.due_at < at:
        begin = found.due_at
    basis = Basis(condition, found.due_at, words=found.reason)
    return Span(condition, begin.astimezone(zone), end.astimezone(zone) if end else None, basis)


def in_window(course: Course, since: datetime, until: datetime) -> Course:
    """Return a course cut to the gaps that reach into a window; its spans stay."""
    kept = [gap for gap in course.gaps if gap.exceedance.length(since, until)]
    return replace(course, gaps=tuple(kept))
