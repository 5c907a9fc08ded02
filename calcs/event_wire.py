"""Events of a history as plain values to keep, and back: the words of the surface ``due``, times in UTC.

Beside those words a test may carry ``falls_short``, why it counts no more. Pressures are gauge, in Pa.
"""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from calcs.recurrence import Deferred, Event, EventKind, Happened, Section, Tested

Plain = dict[str, Any]
_PASCAL: Final = "Pa"


def as_plain(history: Iterable[Event]) -> list[Plain]:
    """Return the events as values JSON can keep.

    >>> noon = dt.datetime(2026, 3, 2, 12, tzinfo=dt.UTC)
    >>> as_plain([Happened(EventKind.INSTALLED, noon)])
    [{'event': 'installed', 'at': '2026-03-02T12:00:00+00:00'}]
    """
    return [_plain(event) for event in history]


def from_plain(kept: Sequence[Mapping[str, Any]]) -> tuple[Event, ...]:
    """Return the events of what `as_plain` made."""
    return tuple(_event(one) for one in kept)


def _plain(event: Event) -> Plain:
    if isinstance(event, Tested):
        return _tested(event)
    if isinstance(event, Section):
        return {"event": EventKind.SECTION.value, "at": _said(event.at), **_pressure("required", event.required_gauge)}
    if isinstance(event, Deferred):
        return {"event": EventKind.DEFERRED.value, "at": _said(event.at), "until": _said(event.until)}
    return {"event": event.kind.value, "at": _said(event.at)}


def _tested(test: Tested) -> Plain:
    plain: Plain = {"event": EventKind.TESTED.value, "started": _said(test.started)}
    if test.concluded is not None:
        plain["concluded"] = _said(test.concluded)
    if test.passed is not None:
        plain["passed"] = test.passed
    plain |= _pressure("pressure", test.pressure_gauge)
    return plain | ({"falls_short": test.falls_short} if test.falls_short else {})


def _pressure(name: str, gauge: float | None) -> Plain:
    return {} if gauge is None else {name: {"value": gauge, "unit": _PASCAL}}


def _said(moment: dt.datetime) -> str:
    return moment.astimezone(dt.UTC).isoformat()


def _event(plain: Mapping[str, Any]) -> Event:
    kind = plain["event"]
    if kind == EventKind.TESTED:
        concluded = plain.get("concluded")
        return Tested(
            _read(plain["started"]),
            _read(concluded) if concluded else None,
            plain.get("passed"),
            _value(plain.get("pressure")),
            plain.get("falls_short", ""),
        )
    if kind == EventKind.SECTION:
        return Section(_read(plain["at"]), _value(plain.get("required")))
    if kind == EventKind.DEFERRED:
        return Deferred(_read(plain["at"]), _read(plain["until"]))
    return Happened(EventKind(kind), _read(plain["at"]))


_read: Final = dt.datetime.fromisoformat


def _value(quantity: Mapping[str, Any] | None) -> float | None:
    return None if quantity is None else float(quantity["value"])
