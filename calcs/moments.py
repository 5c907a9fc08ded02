"""Moments and limits in the rig's own time, and how they are said.

The clock is never read here. A zone's rules are those of the machine's time zone database.
"""

import datetime as dt
from typing import Final
from zoneinfo import ZoneInfo


def localise(wall: dt.datetime, zone: ZoneInfo) -> dt.datetime:
    """Return the moment at which the clocks of `zone` first show `wall` (a naive local time).

    A clock time skipped by daylight saving becomes the moment of the skip's far side; one shown twice
    becomes the earlier moment, which is the stricter.
    """
    # Through UTC and back: arithmetic on an aware local time keeps the old offset across a change.
    return wall.replace(tzinfo=zone, fold=0).astimezone(dt.UTC).astimezone(zone)


def moment_words(moment: dt.datetime, zone: ZoneInfo) -> str:
    """Return a moment on the clock of `zone`, which is named by its distance from UTC.

    >>> moment_words(dt.datetime(2026, 11, 8, 15, 30, tzinfo=dt.UTC), ZoneInfo("America/Chicago"))
    '8 Nov 2026, 09:30 UTC−6'
    """
    local = moment.astimezone(zone)
    return f"{date_words(local)}, {local.hour:02}:{local.minute:02} {offset_words(local)}"


def limit_words(limit: dt.datetime, zone: ZoneInfo) -> str:
    """Return the moment before which something must have begun; the end of a day as the trade says it.

    >>> chicago = ZoneInfo("America/Chicago")
    >>> limit_words(dt.datetime(2026, 11, 23, tzinfo=chicago), chicago)
    'midnight at the end of 22 Nov 2026, UTC−6'
    """
    local = limit.astimezone(zone)
    just_before = (limit.astimezone(dt.UTC) - _INSTANT).astimezone(zone)
    # Not by the clock showing 00:00: there are days that begin at 01:00.
    if just_before.toordinal() == local.toordinal():
        return moment_words(limit, zone)
    return f"midnight at the end of {date_words(just_before)}, {offset_words(just_before)}"


_INSTANT: Final = dt.timedelta(microseconds=1)
_MONTHS: Final = ("", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def date_words(local: dt.datetime) -> str:
    """Return the day a local time lies on: ``8 Nov 2026``."""
    return f"{local.day} {_MONTHS[local.month]} {local.year}"


def offset_words(local: dt.datetime) -> str:
    """Return how far a local time's clock stands from UTC: ``UTC−6``."""
    minutes = round((local.utcoffset() or _NOTHING).total_seconds() / 60)
    if not minutes:
        return "UTC"
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'+' if minutes > 0 else '−'}{hours}" + (f":{rest:02d}" if rest else "")


_NOTHING: Final = dt.timedelta()
