"""Time strips: how a requirement stood over months, as a static drawing that reads without colour.

Told apart by height and pattern: in date is a thin line, not met a solid block as high as the strip (overdue) or a
framed one with bars (open since an event), deferred a low hatched one, out of service a dashed line, what can't be
worked out a row of dots. Where nothing was there to be tested the strip is empty.
"""

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from calcs.conditions import Condition, Span, in_utc
from calcs.moments import localise

WIDTH: Final = 720.0
HEIGHT: Final = 22.0
_LEAST: Final = 3.0
"""Units a span not met is drawn wide at least: an hour in a year would be too thin to see."""
_MIDDLE: Final = HEIGHT / 2
_STEP: Final = 5.0
_BAR: Final = 4.0

CONDITION_WORDS: Final = {
    Condition.IN_DATE: "In date",
    Condition.IN_PROGRESS: "Being tested",
    Condition.DEFERRED: "Deferred",
    Condition.OVERDUE: "Overdue",
    Condition.OPEN: "Open since an event",
    Condition.OUT_OF_SERVICE: "Out of service",
    Condition.NOT_INSTALLED: "Not installed",
    Condition.UNKNOWN: "Cannot be worked out",
}
"""Each condition as a reader finds it beside the drawing."""

_TONES: Final = {
    Condition.OVERDUE: ("tone-bad", "#a0201c"),
    Condition.OPEN: ("tone-now", "#974006"),
    Condition.DEFERRED: ("tone-soon", "#7d5600"),
    Condition.IN_DATE: ("tone-good", "#2a6639"),
    Condition.IN_PROGRESS: ("tone-good", "#2a6639"),
}
_CALM: Final = ("tone-calm", "#566167")
"""Class for a page, where the style sheet gives the tone, and the tone itself for paper."""


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of a strip: how it stood, and from where to where in moments."""

    condition: Condition
    begin: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Month:
    """A month of a strip: its first moment and its name as a head shows it."""

    begin: datetime
    end: datetime
    name: str


def months_of(last: datetime, zone: ZoneInfo, *, count: int = 12) -> tuple[Month, ...]:
    """Return the months that end with the one `last` lies in, on the clock of the zone.

    >>> [month.name for month in months_of(datetime(2026, 2, 14, tzinfo=ZoneInfo("Europe/Oslo")),
    ...                                    ZoneInfo("Europe/Oslo"), count=3)]
    ['Dec', 'Jan', 'Feb']
    """
    local = last.astimezone(zone)
    first = local.year * 12 + local.month - count
    edges = [_first_of(number, zone) for number in range(first, first + count + 1)]
    return tuple(Month(a, b, f"{a:%b}") for a, b in itertools.pairwise(edges))


def _first_of(number: int, zone: ZoneInfo) -> datetime:
    year, month = divmod(number, 12)
    # A wall clock time, given its zone by `localise`.
    return localise(datetime(year, month + 1, 1), zone)  # noqa: DTZ001


def blocks_of(spans: Iterable[Span], since: datetime, until: datetime) -> tuple[Block, ...]:
    """Return the spans that reach into a window, cut to it."""
    found = []
    for span in spans:
        begin = max(in_utc(span.begin), in_utc(since))
        end = in_utc(until) if span.end is None else min(in_utc(span.end), in_utc(until))
        if begin < end:
            found.append(Block(span.condition, begin, end))
    return tuple(found)


def strip(blocks: Sequence[Block], months: Sequence[Month], *, label: str) -> SafeString:
    """Return the drawing of a strip over some months; `label` says in words what it shows."""
    scale = _Scale(in_utc(months[0].begin), in_utc(months[-1].end))
    # What was not met is drawn last: a thin one is not to vanish under its neighbour.
    ordered = sorted(blocks, key=lambda block: block.condition in _SOLID)
    return format_html(
        '<svg class="strip" viewBox="0 0 {} {}" width="{}" height="{}" preserveAspectRatio="none" role="img" '
        'aria-label="{}">{}{}</svg>',
        f"{WIDTH:g}",
        f"{HEIGHT:g}",
        f"{WIDTH:g}",
        f"{HEIGHT:g}",
        label,
        _ticks(months, scale),
        format_html_join("", "{}", ((_block(block, scale),) for block in ordered)),
    )


def sample(condition: Condition) -> SafeString:
    """Return a short piece of strip for the legend."""
    shape = _shape(condition, 2.0, 36.0)
    return format_html(
        '<svg class="strip-sample" viewBox="0 0 40 {}" width="40" height="{}" aria-hidden="true">{}</svg>',
        f"{HEIGHT:g}",
        f"{HEIGHT:g}",
        _grouped(condition, shape),
    )


def scale_head(months: Sequence[Month]) -> SafeString:
    """Return the head over strips: the names of the months where they lie."""
    scale = _Scale(in_utc(months[0].begin), in_utc(months[-1].end))
    names = [
        (f"{scale.x(in_utc(month.begin)) + 3:.1f}", f"{place:g}", words)
        for index, month in enumerate(months)
        for place, words in ((_HEAD_HEIGHT - 5, month.name), (13.0, _year(month, is_first=not index)))
        if words
    ]
    text = format_html_join("", '<text x="{}" y="{}" font-size="13" fill="currentColor">{}</text>', names)
    return format_html(
        '<svg class="strip strip-head" viewBox="0 0 {} {}" width="{}" height="{}" role="img" aria-label="{}">'
        "{}{}</svg>",
        f"{WIDTH:g}",
        f"{_HEAD_HEIGHT:g}",
        f"{WIDTH:g}",
        f"{_HEAD_HEIGHT:g}",
        f"{months[0].begin:%B %Y} to {months[-1].begin:%B %Y}",
        _ticks(months, scale, _HEAD_HEIGHT),
        text,
    )


_HEAD_HEIGHT: Final = 34.0


def _year(month: Month, *, is_first: bool) -> str:
    """Return the year over the month it begins with, and over the first."""
    return str(month.begin.year) if is_first or month.begin.month == 1 else ""


@dataclass(frozen=True, slots=True)
class _Scale:
    since: datetime
    until: datetime

    def x(self, moment: datetime) -> float:
        return WIDTH * ((moment - self.since) / (self.until - self.since))


_SOLID: Final = frozenset({Condition.OVERDUE, Condition.OPEN, Condition.UNKNOWN})


def _ticks(months: Sequence[Month], scale: _Scale, height: float = HEIGHT) -> SafeString:
    places = [(*(f"{scale.x(in_utc(month.begin)):.1f}",) * 2, f"{height:g}") for month in months[1:]]
    lines = format_html_join(
        "",
        '<line x1="{}" x2="{}" y1="0" y2="{}" stroke="#a9afae" stroke-width="0.5"/>',
        places,
    )
    return format_html('<g class="strip-ticks">{}</g>', lines)


def _block(block: Block, scale: _Scale) -> SafeString:
    begin, end = scale.x(block.begin), scale.x(block.end)
    if block.condition in _SOLID and end - begin < _LEAST:
        middle = (begin + end) / 2
        begin = min(max(middle - _LEAST / 2, 0.0), WIDTH - _LEAST)
        end = begin + _LEAST
    return _grouped(block.condition, _shape(block.condition, begin, end - begin))


def _grouped(condition: Condition, shape: str) -> SafeString:
    # Numbers and our own constants alone, never input.
    tone, ink = _TONES.get(condition, _CALM)
    return format_html('<g class="{}" color="{}">{}</g>', tone, ink, mark_safe(shape))


def _shape(condition: Condition, x: float, width: float) -> str:
    if condition is Condition.OVERDUE:
        return f'<rect x="{x:.1f}" y="0" width="{width:.1f}" height="{HEIGHT:g}" fill="currentColor"/>'
    if condition is Condition.OPEN:
        return _barred(x, width)
    if condition is Condition.DEFERRED:
        return _hatched(x, width)
    if condition is Condition.OUT_OF_SERVICE:
        return _line(x, width, 'stroke-width="1.6" stroke-dasharray="5 4"')
    if condition is Condition.UNKNOWN:
        return _line(x, width, 'stroke-width="5" stroke-dasharray="2 5"')
    return _line(x, width, 'stroke-width="2.2"')


def _line(x: float, width: float, stroke: str) -> str:
    return f'<path d="M{x:.1f} {_MIDDLE:g}h{width:.1f}" stroke="currentColor" {stroke} fill="none"/>'


def _barred(x: float, width: float) -> str:
    """Return a frame as high as the strip with upright bars in it; a narrow one is nothing but frame."""
    bars = "".join(f"M{at:.1f} 1v{HEIGHT - 2:g}" for at in _steps(x + _BAR, x + width - 1, _BAR))
    frame = f'<rect x="{x + 0.75:.1f}" y="0.75" width="{max(width - 1.5, 0.5):.1f}" height="{HEIGHT - 1.5:g}"'
    return (
        f'{frame} fill="currentColor" fill-opacity="0.18" stroke="currentColor" stroke-width="1.5"/>'
        f'<path d="{bars or "M0 0"}" stroke="currentColor" stroke-width="1.6" fill="none"/>'
    )


def _hatched(x: float, width: float) -> str:
    """Return a low frame with slanting lines."""
    top, height = HEIGHT / 4, HEIGHT / 2
    slants = "".join(_slant(at, x, x + width, top, height) for at in _steps(x - height, x + width, _STEP))
    frame = f'<rect x="{x + 0.5:.1f}" y="{top:g}" width="{max(width - 1, 0.5):.1f}" height="{height:g}"'
    return (
        f'{frame} fill="none" stroke="currentColor" stroke-width="1"/>'
        f'<path d="{slants or "M0 0"}" stroke="currentColor" stroke-width="1" fill="none"/>'
    )


def _slant(at: float, left: float, right: float, top: float, height: float) -> str:
    """Return a line at 45 degrees that would begin below at `at`, cut to its frame."""
    begin, end = max(at, left), min(at + height, right)
    if end <= begin:
        return ""
    return f"M{begin:.1f} {top + height - (begin - at):.1f}L{end:.1f} {top + height - (end - at):.1f}"


def _steps(begin: float, end: float, step: float) -> Iterator[float]:
    at = begin
    while at < end:
        yield at
        at += step
