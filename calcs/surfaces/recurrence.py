"""The surface ``due``: an interval, a deadline rule and a history, to a date and a state."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from calcs.errors import InputError
from calcs.fields import Fields, quoted
from calcs.recurrence import Deadline, Deferred, Due, Event, EventKind, Happened, Interval, Section, Tested, due
from calcs.rules import Edition
from calcs.units import Dimension, System

_FIRST_YEAR, _LAST_YEAR = 1900, 2200


@dataclass(frozen=True, slots=True)
class DueQuestion:
    """What ``due`` was asked."""

    interval: Interval
    deadline: Deadline
    history: tuple[Event, ...]
    at: dt.datetime
    zone: ZoneInfo


def parse_due(fields: Fields, _: Sequence[Edition]) -> DueQuestion:
    """Read the question; times without an offset are read in the rig's zone."""
    zone = fields.read("zone", read_zone)
    return DueQuestion(
        interval=fields.read("interval", Interval.parse),
        deadline=Deadline(fields.choice("deadline", list(Deadline))),
        history=tuple(_event(event, zone) for event in fields.objects("history")),
        at=_moment(fields, "at", zone),
        zone=zone,
    )


def compute_due(asked: DueQuestion) -> Due:
    """Answer the question."""
    return due(asked.interval, asked.deadline, asked.history, at=asked.at, zone=asked.zone)


def format_due(found: Due, _: System) -> dict[str, Any]:
    """Write the answer; every time carries the rig's offset."""
    return {
        "due_at": _iso(found.due_at),
        "amber_at": _iso(found.amber_at),
        "state": found.state.value,
        "counts_from": _iso(found.counts_from),
        "counts_from_event": found.counts_from_kind.value if found.counts_from_kind else None,
        "deferred_from": _iso(found.original_due_at),
        "reason": found.reason,
    }


def read_zone(given: Any) -> ZoneInfo:
    """Return the time zone of a name such as ``Europe/Oslo``; raises InputError for anything else."""
    try:
        return ZoneInfo(given)
    except (KeyError, TypeError, ValueError, OSError, AttributeError) as error:
        raise InputError(
            "", f"{quoted(given)} is not a time zone.", "Give a name such as Europe/Oslo or America/Chicago."
        ) from error


def read_moment(given: Any, zone: ZoneInfo) -> dt.datetime:
    """Return an ISO 8601 time; one without an offset is read in `zone`.

    Raises InputError for anything else, and for a clock time that daylight saving shows twice or never.
    """
    try:
        moment = dt.datetime.fromisoformat(given)
    except (TypeError, ValueError) as error:
        raise InputError(
            "", f"{quoted(given)} is not a date and time.", "Write it as 2026-03-31T14:00:00+02:00."
        ) from error
    if not _FIRST_YEAR <= moment.year <= _LAST_YEAR:
        raise InputError("", "The year is out of range.", f"Give a year from {_FIRST_YEAR} to {_LAST_YEAR}.")
    return moment if moment.tzinfo is not None else _in_zone(moment, zone)


def _in_zone(wall: dt.datetime, zone: ZoneInfo) -> dt.datetime:
    early, late = (wall.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if early.utcoffset() != late.utcoffset():
        raise InputError(
            "",
            f"The clocks of {zone.key} change at that time, which then comes twice or never.",
            "Give the offset as well, for instance 2026-10-25T02:30:00+02:00.",
        )
    return early


def _moment(fields: Fields, key: str, zone: ZoneInfo) -> dt.datetime:
    return fields.read(key, lambda given: read_moment(given, zone)).astimezone(dt.UTC)


def _event(fields: Fields, zone: ZoneInfo) -> Event:
    kind = EventKind(fields.choice("event", list(EventKind)))
    if kind is EventKind.TESTED:
        return _tested(fields, zone)
    at = _moment(fields, "at", zone)
    if kind is EventKind.SECTION:
        return Section(at, fields.si_or_none("required", Dimension.PRESSURE))
    if kind is EventKind.DEFERRED:
        return Deferred(at, _moment(fields, "until", zone))
    return Happened(kind, at)


def _tested(fields: Fields, zone: ZoneInfo) -> Tested:
    started = _moment(fields, "started", zone)
    concluded = _moment(fields, "concluded", zone) if fields.has("concluded") else None
    passed = fields.flag("passed") if fields.has("passed") else None
    pressure = fields.si_or_none("pressure", Dimension.PRESSURE)
    try:
        return Tested(started, concluded, passed, pressure)
    except InputError as error:
        raise error.under(fields.path_of_self) from error


def _iso(moment: dt.datetime | None) -> str | None:
    return None if moment is None else moment.isoformat()
