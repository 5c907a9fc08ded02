"""The elevation drawing of a stack as inline SVG: choke side right, kill side left, top at the top.

Drawn twice from one plan, wide and narrow; the style sheet shows the one that fits. It carries no meaning
that its table does not hold in words, so readers that can't see it are told to go there.
"""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from accounts.presentation import STATES, quantity_beside_unit
from calcs.units import Dimension, System
from equipment.models import Measured, PositionGroup, Stack
from equipment.queries.stacks import Standing
from equipment.web import symbols
from equipment.web.panels import StateMark

_BORE_GROUPS: Final = {PositionGroup.BORE, PositionGroup.RISER}
_SIDES: Final = {PositionGroup.CHOKE_SIDE: 1, PositionGroup.KILL_SIDE: -1}
_EMPTY: Final = "Empty"
_MARK: Final = 13


@dataclass(frozen=True)
class Sheet:
    """The measures of one of the two drawings, in its own units.

    Attributes:
        name: class that the style sheet shows or hides it by.
        pitch: from one fitting on an outlet to the next.
        label: width kept to the right of the bore for the words.
        cell: width of a fitting beside the stack, with its words.
        cells: how many of those in a row.
        line: from one line of words to the next.
        words_on_outlets: whether fittings on outlets carry their words; else their number in the table.
        body_letters: how many letters fit beside a body of the bore.
        letters: how many letters fit under a fitting on an outlet.
        cell_letters: how many letters fit beside a fitting of the rows below.
    """

    name: str
    pitch: int
    label: int
    cell: int
    cells: int
    line: int
    words_on_outlets: bool
    body_letters: int
    letters: int
    cell_letters: int


WIDE: Final = Sheet("elevation-wide", 150, 330, 272, 4, 17, True, 46, 20, 29)
NARROW: Final = Sheet("elevation-narrow", 52, 172, 172, 2, 15, False, 22, 0, 16)


@dataclass(frozen=True)
class Level:
    """One body of the bore with the fittings on its outlets, nearest the bore first."""

    standing: Standing
    choke: tuple[Standing, ...]
    kill: tuple[Standing, ...]


@dataclass
class Plan:
    """Where everything goes, before it is drawn."""

    levels: list[Level]
    beside: dict[str, list[Standing]] = field(default_factory=dict)

    @property
    def most_choke(self) -> int:
        """Return the longest line on the choke side."""
        return max((len(level.choke) for level in self.levels), default=0)

    @property
    def most_kill(self) -> int:
        """Return the longest line on the kill side."""
        return max((len(level.kill) for level in self.levels), default=0)


@dataclass(frozen=True)
class Pen:
    """What the drawing routines share: the sheet, the states, the units of ratings, the axis of the bore."""

    sheet: Sheet
    states: Mapping[int, StateMark]
    units: System
    axis: int
    width: int


def draw(
    stack: Stack, standings: Sequence[Standing], states: Mapping[int, StateMark], *, units: System = "us"
) -> SafeString:
    """Return the drawing of a stack as it stands, with the state of each position in word and shape.

    Each part leads to ``#position-<key>``, the row of the table that stands with the drawing.
    """
    plan = planned(standings)
    drawings = format_html_join("", "{}", ((_sheet(stack, plan, states, units, sheet),) for sheet in (WIDE, NARROW)))
    return format_html('<div class="elevation">{}</div>', drawings)


def planned(standings: Sequence[Standing]) -> Plan:
    """Sort what stands into the bore from the top, the outlets of each body, and what stands beside the stack."""
    bore = [one for one in standings if one.position.group in _BORE_GROUPS]
    bodies = {one.position.pk for one in bore}
    outlets: dict[tuple[int | None, str], list[Standing]] = {}
    plan = Plan([])
    for one in standings:
        position = one.position
        if position.group in _SIDES and position.outlet_of_id in bodies:
            outlets.setdefault((position.outlet_of_id, position.group), []).append(one)
        elif position.group not in _BORE_GROUPS:
            plan.beside.setdefault(PositionGroup(position.group).label, []).append(one)
    for one in bore:
        choke = tuple(outlets.get((one.position.pk, PositionGroup.CHOKE_SIDE), ()))
        kill = tuple(outlets.get((one.position.pk, PositionGroup.KILL_SIDE), ()))
        plan.levels.append(Level(one, choke, kill))
    return plan


def _sheet(stack: Stack, plan: Plan, states: Mapping[int, StateMark], units: System, sheet: Sheet) -> SafeString:
    left = symbols.BODY_HALF + max(plan.most_kill * sheet.pitch + 20, 20)
    right = symbols.BODY_HALF + max(plan.most_choke * sheet.pitch + 20, sheet.label)
    stands = left + right if plan.levels else 0
    width = max(stands, sheet.cell * sheet.cells if plan.beside else 0)
    pen = Pen(sheet, states, units, left + (width - stands) // 2, width)
    parts, bottom = _bore(pen, plan)
    beside, height = _beside(pen, plan, bottom)
    sides = _side_names(pen, plan)
    return format_html(
        '<svg class="{}" viewBox="0 0 {} {}" width="{}" height="{}" aria-hidden="true" focusable="false">{}{}{}</svg>',
        sheet.name,
        width,
        height,
        width,
        height,
        sides,
        format_html_join("", "{}", ((part,) for part in parts)),
        format_html_join("", "{}", ((part,) for part in beside)),
    )


def _side_names(pen: Pen, plan: Plan) -> SafeString:
    names = []
    if plan.most_kill:
        names.append((pen.axis - symbols.BODY_HALF - 20, "end", "← Kill side"))
    if plan.most_choke:
        names.append((pen.axis + symbols.BODY_HALF + 20, "start", "Choke side →"))
    return format_html_join("", '<text class="side" x="{}" y="14" text-anchor="{}">{}</text>', names)


def _bore(pen: Pen, plan: Plan) -> tuple[list[SafeString], int]:
    """Draw the bodies from the top; return the parts and the lowest y."""
    y = 28
    parts = []
    for level in plan.levels:
        parts.append(_level(pen, level, y))
        y += _level_height(pen, level)
    return parts, y + 8


def _level_height(pen: Pen, level: Level) -> int:
    outlets = [*level.choke, *level.kill]
    below = 0
    if outlets and pen.sheet.words_on_outlets:
        below = 44 + max(_line_count(pen, one, pen.sheet.letters) for one in outlets) * pen.sheet.line
    elif outlets:
        below = 44 + pen.sheet.line
    return _head_height(pen, level) + below


def _head_height(pen: Pen, level: Level) -> int:
    """Return the height of a body with the words beside it, without its outlets."""
    return max(symbols.BODY_HEIGHT, _line_count(pen, level.standing, pen.sheet.body_letters) * pen.sheet.line) + 14


def _line_count(pen: Pen, standing: Standing, letters: int) -> int:
    return len(list(_lines(pen, standing, letters))) + (standing.position.pk in pen.states)


def _level(pen: Pen, level: Level, top: int) -> SafeString:
    """Draw one body, the pipe below it down to the next, the outlets at its foot, and the words at its right."""
    height = _level_height(pen, level)
    middle = top + symbols.BODY_HEIGHT // 2
    pipe = _pipe(pen, top + symbols.BODY_HEIGHT, top + height)
    outlets = _outlets(pen, level, top + _head_height(pen, level) + 14)
    words = _words(pen, level.standing, pen.axis + symbols.BODY_HALF + 18, top + 15, "start", pen.sheet.body_letters)
    body = _symbol(symbols.body(level.standing.position.kind), pen.axis, middle, filled=bool(level.standing.component))
    return format_html("{}{}{}", pipe, outlets, _linked(level.standing, body, words))


def _pipe(pen: Pen, top: int, bottom: int) -> SafeString:
    if bottom <= top:
        return mark_safe("")
    left, right = pen.axis - 24, pen.axis + 24
    return format_html('<path class="pipe" d="M{} {}V{}M{} {}V{}"/>', left, top, bottom, right, top, bottom)


def _outlets(pen: Pen, level: Level, y: int) -> SafeString:
    sides = ((level.choke, 1), (level.kill, -1))
    return format_html_join("", "{}", ((_side(pen, fittings, side, y),) for fittings, side in sides if fittings))


def _side(pen: Pen, fittings: Sequence[Standing], side: int, y: int) -> SafeString:
    """Draw one outlet: its stub on the body, the line outwards, and the fittings along it."""
    start = pen.axis + side * 24
    end = pen.axis + side * (symbols.BODY_HALF + pen.sheet.pitch * len(fittings))
    stub = start if side > 0 else start - 8
    line = format_html(
        '<rect class="stub" x="{}" y="{}" width="8" height="16"/><path class="line" d="M{} {}H{}"/>',
        stub,
        y - 8,
        start + side * 8,
        y,
        end,
    )
    middles = (pen.axis + side * (symbols.BODY_HALF + pen.sheet.pitch * (i + 0.5)) for i in range(len(fittings)))
    drawn = format_html_join(
        "", "{}", ((_fitting(pen, one, round(x), y),) for one, x in zip(fittings, middles, strict=True))
    )
    return format_html("{}{}", line, drawn)


def _fitting(pen: Pen, standing: Standing, x: int, y: int) -> SafeString:
    symbol = _symbol(symbols.fitting(standing.position.kind), x, y, filled=bool(standing.component), knock=True)
    if pen.sheet.words_on_outlets:
        words = _words(pen, standing, x, y + 30, "middle", pen.sheet.letters)
    else:
        words = _number_and_mark(pen, standing, x, y + 28)
    return _linked(standing, symbol, words)


def _beside(pen: Pen, plan: Plan, top: int) -> tuple[list[SafeString], int]:
    """Draw the groups beside the stack in rows below it; return the parts and the lowest y."""
    parts: list[SafeString] = []
    y = top
    for label, standings in plan.beside.items():
        parts.append(
            format_html(
                '<path class="rule" d="M0 {}H{}"/><text class="group" x="0" y="{}">{}</text>',
                y + 8,
                pen.width,
                y + 30,
                label,
            )
        )
        y += 42
        for start in range(0, len(standings), pen.sheet.cells):
            row = standings[start : start + pen.sheet.cells]
            parts += [_cell(pen, one, index * (pen.width // pen.sheet.cells), y) for index, one in enumerate(row)]
            y += max(_line_count(pen, one, pen.sheet.cell_letters) for one in row) * pen.sheet.line + 22
    return parts, y + 4


def _cell(pen: Pen, standing: Standing, x: int, y: int) -> SafeString:
    symbol = _symbol(symbols.fitting(standing.position.kind), x + 26, y + 24, filled=bool(standing.component))
    return _linked(standing, symbol, _words(pen, standing, x + 58, y + 14, "start", pen.sheet.cell_letters))


def _symbol(drawing: str, x: int, y: int, *, filled: bool, knock: bool = False) -> SafeString:
    ground = mark_safe('<rect class="ground" x="-24" y="-12" width="48" height="24"/>' if knock else "")
    return format_html(
        '<g class="symbol{}" transform="translate({} {})">{}{}</g>',
        "" if filled else " symbol-empty",
        x,
        y,
        ground,
        mark_safe(drawing),  # our own constants, never input
    )


def _linked(standing: Standing, symbol: SafeString, words: SafeString) -> SafeString:
    return format_html('<a href="#position-{}" tabindex="-1">{}{}</a>', standing.position.pk, symbol, words)


def _words(pen: Pen, standing: Standing, x: int, y: int, anchor: str, letters: int) -> SafeString:
    """Write name, serial with rating, and state, one under the other."""
    lines = list(_lines(pen, standing, letters))
    text = format_html_join(
        "",
        '<text class="{}" x="{}" y="{}" text-anchor="{}">{}</text>',
        ((style, x, y + index * pen.sheet.line, anchor, words) for index, (style, words) in enumerate(lines)),
    )
    mark = pen.states.get(standing.position.pk)
    if mark is None:
        return text
    return format_html("{}{}", text, _state(pen, mark, x, y + len(lines) * pen.sheet.line, anchor, letters))


def _lines(pen: Pen, standing: Standing, letters: int) -> Iterator[tuple[str, str]]:
    position = standing.position
    number = "" if pen.sheet.words_on_outlets else f"{position.order} "
    for line in textwrap.wrap(
        f"{number}{position.name}", letters, max_lines=2, placeholder="…", break_on_hyphens=False
    ):
        yield "name", line
    if standing.component is None:
        yield "fact", _EMPTY
        return
    rating: Measured | None = standing.component.rated_working_pressure
    rated = str(quantity_beside_unit(rating.si, Dimension.PRESSURE, pen.units)) if rating else ""
    joined = " · ".join(part for part in (standing.component.serial, rated) if part)
    if len(joined) <= letters or not rated:
        yield "fact", _cut(joined, letters)
    else:
        yield "fact", _cut(standing.component.serial, letters)
        yield "fact", rated


def _state(pen: Pen, mark: StateMark, x: int, y: int, anchor: str, letters: int) -> SafeString:
    words = _fitting_words(mark, letters - 2)
    # No browser measures text before it is drawn here, so half a line is reckoned at 3.3 a letter.
    start = x if anchor == "start" else x - round((_MARK + 5 + len(words) * 6.6) / 2)
    return format_html(
        '<g class="tone-{}">{}<text class="state-words" x="{}" y="{}">{}</text></g>',
        mark.tone,
        _drawn_mark(mark, start, y - _MARK + 2),
        start + _MARK + 5,
        y,
        words,
    )


def _fitting_words(mark: StateMark, letters: int) -> str:
    """Return as much of a state as has room, in whole clauses; the table holds all of it."""
    first, _, _ = mark.word.partition(",")
    said = (f"{mark.word}, {mark.detail}" if mark.detail else "", mark.word, first)
    return next((words for words in said if 0 < len(words) <= letters), _cut(mark.short or first, letters))


def _number_and_mark(pen: Pen, standing: Standing, x: int, y: int) -> SafeString:
    mark = pen.states.get(standing.position.pk)
    shift = 9 if mark else 0
    number = format_html(
        '<text class="fact" x="{}" y="{}" text-anchor="middle">{}</text>', x - shift, y, standing.position.order
    )
    if mark is None:
        return number
    drawn = _drawn_mark(mark, x + 2, y - _MARK + 2)
    return format_html('{}<g class="tone-{}">{}</g>', number, mark.tone, drawn)


def _drawn_mark(mark: StateMark, x: int, y: int) -> SafeString:
    shape = STATES.get(mark.shape, STATES["unknown"]).shape
    return format_html(
        '<svg class="mark" x="{}" y="{}" width="{}" height="{}" viewBox="0 0 16 16" fill="none" stroke="currentColor" '
        'stroke-width="1.5">{}</svg>',
        x,
        y,
        _MARK,
        _MARK,
        mark_safe(shape),  # our own constants, never input
    )


def _cut(text: str, letters: int) -> str:
    return text if len(text) <= letters else f"{text[: letters - 1]}…"
