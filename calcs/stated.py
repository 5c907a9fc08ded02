"""Dates no interval governs: what runs out on a day of its own, and what is open or settled since a moment."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

from calcs.moments import limit_words, localise
from calcs.recurrence import SOON, Deferred, Due, Event, EventKind, State

PAPER_SOON: Final = dt.timedelta(days=30)
"""How long before its day a paper counts as due soon: a new one takes weeks (common practice)."""


@dataclass(frozen=True, slots=True)
class Stated:
    """A date that stands on a paper or a state that lasts, with its words.

    Attributes:
        words: what runs out, such as ``The certificate``; without a limit the whole reason.
        limit: the moment it runs out, exclusive.
        since: since when it is open, or what a settled state counts from.
        is_open: whether it is due at once, since `since`.
        soon: how long before the limit it counts as due soon.
    """

    words: str
    limit: dt.datetime | None = None
    since: dt.datetime | None = None
    is_open: bool = False
    soon: dt.timedelta = SOON

    def due(self, *, at: dt.datetime, zone: ZoneInfo, events: Iterable[Event] = ()) -> Due:
        """Return how it stands at a moment; a deferral among `events` moves the limit until it ends."""
        if self.limit is not None:
            return self._runs_out(self.limit, at.astimezone(dt.UTC), zone, _deferral(events, at))
        since = self.since.astimezone(zone) if self.since else None
        if self.is_open:
            return Due(since, None, State.DUE_NOW, since, EventKind.INSTALLED, self.words)
        return Due(None, None, State.IN_DATE, since, EventKind.TESTED, self.words)

    def _runs_out(self, limit: dt.datetime, at: dt.datetime, zone: ZoneInfo, deferral: Deferred | None) -> Due:
        local = limit.astimezone(zone)
        until = deferral.until.astimezone(zone) if deferral else local
        left = until.astimezone(dt.UTC) - at
        state = State.OVERDUE if left <= dt.timedelta() else State.DUE_SOON if left <= self.soon else State.IN_DATE
        verb = "ran out" if limit.astimezone(dt.UTC) <= at else "runs out"
        why = f"{self.words} {verb} at {limit_words(local, zone)}."
        if deferral is None:
            return Due(local, None, state, None, None, why)
        why += f" Deferred from {limit_words(local, zone)} until {limit_words(until, zone)}."
        return Due(until, None, state, None, None, why, local)

    def attention_at(self, at: dt.datetime, events: Iterable[Event] = ()) -> dt.datetime | None:
        """Return the next moment its state changes by itself, in UTC."""
        if self.limit is None:
            return None
        moment, deferrals = at.astimezone(dt.UTC), [one for one in events if isinstance(one, Deferred)]
        found = [deferral.at.astimezone(dt.UTC) for deferral in deferrals]
        for limit in (self.limit, *(deferral.until for deferral in deferrals)):
            found += [limit.astimezone(dt.UTC) - self.soon, limit.astimezone(dt.UTC)]
        return min((one for one in found if one > moment), default=None)

    def as_plain(self) -> dict[str, Any]:
        """Return it as values JSON can keep."""
        plain: dict[str, Any] = {"words": self.words, "open": self.is_open, "soon": self.soon.total_seconds()}
        for name, moment in (("limit", self.limit), ("since", self.since)):
            if moment is not None:
                plain[name] = moment.astimezone(dt.UTC).isoformat()
        return plain

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> "Stated":
        """Return what `as_plain` made."""
        limit, since = (
            dt.datetime.fromisoformat(plain[name]) if plain.get(name) else None for name in ("limit", "since")
        )
        return cls(plain["words"], limit, since, plain["open"], dt.timedelta(seconds=plain["soon"]))


def _deferral(events: Iterable[Event], at: dt.datetime) -> Deferred | None:
    granted = [event for event in events if isinstance(event, Deferred) and event.at <= at]
    return max(granted, key=lambda event: event.at, default=None)


def end_of(day: dt.date, zone: ZoneInfo) -> dt.datetime:
    """Return the moment a day of the zone is over: what is in date through a day runs out then."""
    return localise(dt.datetime.combine(day + dt.timedelta(days=1), dt.time()), zone)
