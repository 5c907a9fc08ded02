"""What a notice says, in words that are read on a phone at night: what, where, by when; the most pressing first."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from calcs.alert_stages import DUE_NOW, NOT_PASSED, OVERDUE, UNKNOWN, stage_words
from calcs.moments import limit_words, moment_words
from tests_app.models import Notice, What


@dataclass(frozen=True)
class Line:
    """One thing that is due.

    Attributes:
        what: what has to be done, such as Pressure test.
        on: on what, such as Upper pipe ram (Pipe ram PR-4471).
        when: its limit in words.
        beside: clause and what else is said in small.
    """

    what: str
    on: str
    when: str
    beside: str = ""


@dataclass(frozen=True)
class Block:
    """Things of which the same is due by the same moment: the twelve valves of one overhaul are read once."""

    what: str
    when: str
    beside: str
    on: tuple[str, ...]


@dataclass(frozen=True)
class Part:
    """Blocks under one heading; `more` things are not written out."""

    heading: str
    blocks: tuple[Block, ...]
    more: int = 0


MOST_LISTED: Final = 40
"""Things of one part that are written out; the rest is counted and stands on the due list."""


def parts_of(notices: Iterable[Notice], zone: ZoneInfo) -> list[Part]:
    """Return the notices by stage, the most pressing first."""
    by_heading: dict[str, list[Notice]] = {}
    for notice in sorted(notices, key=_pressing):
        by_heading.setdefault(heading_of(notice.stage), []).append(notice)
    return [part_of(heading, [_line(one, zone) for one in found]) for heading, found in by_heading.items()]


def part_of(heading: str, lines: Sequence[Line]) -> Part:
    """Return a part of at most `MOST_LISTED` things, the rest counted."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    for line in lines[:MOST_LISTED]:
        alike.setdefault((line.what, line.when, line.beside), []).append(line.on)
    blocks = tuple(Block(*said, on=tuple(on)) for said, on in alike.items())
    return Part(f"{heading} ({len(lines)})", blocks, max(len(lines) - MOST_LISTED, 0))


def _pressing(notice: Notice) -> tuple[bool, int, str, int]:
    return notice.stage != UNKNOWN, -notice.hours_past, notice.stage, notice.pk


def heading_of(stage: str) -> str:
    """Return a stage as the heading of what reached it: ``before-24h`` becomes ``Due within 24 hours``."""
    words = stage_words(stage)
    return f"Due within {words.removesuffix(' before')}" if words.endswith(" before") else words


_BEGUN: Final = frozenset({What.PRESSURE, What.FUNCTION, What.DRAWDOWN, What.PUMP, What.CASING})
"""What only has to begin before its limit."""


def limit_of(notice: Notice, zone: ZoneInfo) -> str:
    """Return the limit of a notice in words, on the rig's clock."""
    stage, due_at = notice.stage, notice.due_at
    if stage == UNKNOWN:
        return "Until it can be worked out, take it as not in date."
    if stage == DUE_NOW:
        return f"Due at once, since {moment_words(due_at, zone)}." if due_at else "Due at once: none is on file."
    if due_at is None:
        return ""
    if stage == NOT_PASSED:
        return "Correct and test again."
    past = stage.startswith(OVERDUE)
    if notice.what in _BEGUN:
        return f"{'Had to begin' if past else 'Begin'} before {limit_words(due_at, zone)}."
    return f"{'Was due' if past else 'Due'} before {limit_words(due_at, zone)}."


def _line(notice: Notice, zone: ZoneInfo) -> Line:
    beside = [notice.clause]
    if notice.stage in (UNKNOWN, NOT_PASSED):
        beside.insert(0, notice.reason.rstrip("."))
    if notice.passed_over:
        beside.append(f"Not told before, since no sweep ran: {', '.join(notice.passed_over)}")
    on = notice.headline.partition(": ")[2].partition(", ")[2] or notice.subject
    return Line(notice.get_what_display(), on, limit_of(notice, zone), ". ".join(filter(None, beside)))


def summary_of(notices: Sequence[Notice]) -> str:
    """Return what a subject line says: the one thing, or how many of each stage."""
    if len(notices) == 1:
        return notices[0].headline
    counts: dict[str, int] = {}
    for notice in sorted(notices, key=_pressing):
        heading = _short(notice.stage)
        counts[heading] = counts.get(heading, 0) + 1
    return ", ".join(f"{count} {heading}" for heading, count in counts.items())


def _short(stage: str) -> str:
    """Return a stage as it stands after a number: days overdue are all one."""
    if stage.startswith(OVERDUE):
        return "overdue"
    return heading_of(stage).lower()
