"""The drawing of a pressure system, and of what one step does to it, as SVG for pages and papers alike.

Everything is said by words and by shape, nothing by colour: what is under pressure is hatched, outlined heavily and
says so; a closed element is a solid bar across its link and says so; a proved one has a second outline and says so.
Where links meet a cavity stands a dot; a link that only passes over one has none.
"""

import textwrap
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from equipment.documents.pressure_layout import Bar, Block, Link, blocks_of
from equipment.documents.pressure_sketch import Sketch, sketch_of
from equipment.models import PressureSystem

PAPER_WIDTH: Final = 700
"""Fits between the margins of A4 and Letter, in CSS pixels."""
NOTHING: Final[frozenset[str]] = frozenset()
_FONT: Final = "Open Sans, DejaVu Sans, sans-serif"
_LETTER: Final = 0.56
"""Mean width of a letter over the size of the type, reckoned generously: nobody measures text before it is drawn."""
_SYMBOL: Final = 16
_GAP: Final = 26


@dataclass(frozen=True)
class Look:
    """What is to be shown of the system.

    Attributes:
        pressurised: names of cavities under pressure.
        closed: names of closed elements; None shows no state at all.
        shown: names of elements the step proves.
        pump_point: the cavity that is pumped.
        element_links: addresses of elements, by name.
        cavity_links: addresses of cavities, by name.
    """

    pressurised: frozenset[str] = NOTHING
    closed: frozenset[str] | None = None
    shown: frozenset[str] = NOTHING
    pump_point: str = ""
    element_links: Mapping[str, str] = field(default_factory=dict)
    cavity_links: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Sheet:
    """The measures of a drawing: its width and the size of its type, in pixels; `column` the width of a column."""

    width: int
    size: float
    name: str = ""

    @property
    def column(self) -> float:
        """Return the width a column has where there is room."""
        return self.size * 11.6

    @property
    def line(self) -> float:
        """Return the height of a line of words."""
        return self.size * 1.22

    def letters(self, width: float) -> int:
        """Return how many letters go into a width."""
        return max(4, int(width / (self.size * _LETTER)))


WIDE: Final = Sheet(1130, 12, "pressure-wide")
NARROW: Final = Sheet(350, 12, "pressure-narrow")


def draw(
    system: PressureSystem,
    *,
    pressurised: frozenset[str] = NOTHING,
    closed: frozenset[str] | None = None,
    shown: frozenset[str] = NOTHING,
    pump_point: str = "",
    width: int = PAPER_WIDTH,
    size: float = 8.5,
    idle: bool = True,
) -> SafeString:
    """Return the drawing of a pressure system as it stands now, or of a step; `idle=False` as in `draw_sketch`."""
    look = Look(pressurised, closed, shown, pump_point)
    return draw_sketch(sketch_of(system), look, Sheet(width, size), idle=idle)


def draw_sketch(sketch: Sketch, look: Look, sheet: Sheet, *, idle: bool = True) -> SafeString:
    """Return the drawing of a sketch; without `idle` parts, outside the bore only what touches pressure is drawn."""
    drawn = sketch if idle else sketch.around(look.pressurised)
    parts, height = _rows_of_blocks(blocks_of(drawn), look, sheet)
    return format_html(
        '<svg xmlns="http://www.w3.org/2000/svg" class="pressure-drawing {}" viewBox="0 0 {} {}" width="{}" '
        'height="{}" fill="none" stroke="currentColor" font-family="{}" font-size="{}" aria-hidden="true" '
        'focusable="false">{}</svg>',
        sheet.name,
        sheet.width,
        round(height),
        sheet.width,
        round(height),
        _FONT,
        sheet.size,
        format_html_join("", "{}", ((part,) for part in parts)),
    )


def _rows_of_blocks(blocks: Iterable[Block], look: Look, sheet: Sheet) -> tuple[list[SafeString], float]:
    """Draw the blocks beside one another as far as the width goes, then below; return them and the height."""
    parts: list[SafeString] = []
    x = top = lowest = 0.0
    for block in blocks:
        pen = _pen(block, look, sheet)
        if x and x + pen.width > sheet.width:
            x, top = 0.0, lowest + _GAP
        parts.append(format_html('<g transform="translate({} {})">{}</g>', round(x, 1), round(top, 1), pen.drawn()))
        x += pen.width + _GAP
        lowest = max(lowest, top + pen.height)
    return parts, lowest + 2


def _pen(block: Block, look: Look, sheet: Sheet) -> "_Pen":
    widest = sheet.column * (1.5 if block.columns == 1 else 1)
    return _Pen(block, look, sheet, min(widest, sheet.width / max(1, block.columns)))


class _Pen:
    """Draws one block from its title down."""

    def __init__(self, block: Block, look: Look, sheet: Sheet, column: float) -> None:
        self.block, self.look, self.sheet, self.column = block, look, sheet, column
        self.width = column * block.columns
        self.tops, self.bottoms, self.height = self._levels()

    def drawn(self) -> SafeString:
        title = _text(0, self.sheet.size * 1.2, self.block.title, size=self.sheet.size * 1.2)
        links = (self._link(link) for link in self.block.links)
        bars = (self._bar(bar) for bar in self.block.bars)
        dots = (self._dots(link) for link in self.block.links)
        parts = [title, *bars, *links, *dots]
        return format_html_join("", "{}", ((part,) for part in parts))

    def _levels(self) -> tuple[list[float], list[float], float]:
        """Return top and bottom of every row, and the height of all."""
        tops: list[float] = []
        bottoms: list[float] = []
        y = self.sheet.line * 1.9
        for row in range(self.block.rows):
            lines = max((len(list(self._bar_words(bar))) for bar in self.block.bars if bar.row == row), default=1)
            tops.append(y)
            bottoms.append(y + lines * self.sheet.line + 6 + self._hatching)
            y = bottoms[-1] + self._room_under(row)
        return tops, bottoms, (bottoms[-1] if bottoms else y) + 4

    @property
    def _hatching(self) -> float:
        return 7 if self.look.pressurised else 0

    def _room_under(self, row: int) -> float:
        """Return the room between a row and the next: what the words of the links there need."""
        lines = [len(list(self._link_words(link))) for link in self.block.links if link.top == row]
        return max(lines, default=1) * self.sheet.line + 9

    def _bar_words(self, bar: Bar) -> Iterator[tuple[str, bool]]:
        """Yield the words of a cavity, line by line, and whether they are its name."""
        cavity = bar.cavity
        letters = self.sheet.letters((bar.last - bar.first + 1) * self.column - 14)
        for line in textwrap.wrap(cavity.name, letters, max_lines=2, placeholder="…"):
            yield line, True
        if said := self._state_of(bar):
            yield said, False

    def _state_of(self, bar: Bar) -> str:
        cavity = bar.cavity
        if cavity.name in self.look.pressurised:
            return "pressure, pumped" if cavity.name == self.look.pump_point else "pressure"
        if cavity.is_vent:
            return "open to the air"
        return "pump point" if cavity.is_pump_point and not self.look.pressurised else ""

    def _link_words(self, link: Link) -> Iterator[tuple[str, bool]]:
        letters = self.sheet.letters(self.column * 0.94 - _SYMBOL - 6)
        for line in textwrap.wrap(link.element.name, letters, max_lines=2, placeholder="…"):
            yield line, True
        if said := self._state_of_element(link.element.name):
            yield said, False

    def _state_of_element(self, name: str) -> str:
        if self.look.closed is None or name not in self.look.closed:
            return ""
        return "closed, proved" if name in self.look.shown else "closed"

    def _x(self, column: int) -> float:
        """Return where the link of a column stands: left of its middle, since its words stand at its right."""
        return column * self.column + _SYMBOL / 2 + self.column * 0.04

    def _bar(self, bar: Bar) -> SafeString:
        left = bar.first * self.column + 1
        width = (bar.last - bar.first + 1) * self.column - 8
        top = self.tops[bar.row]
        height = self.bottoms[bar.row] - top
        under = bar.cavity.name in self.look.pressurised
        outline = format_html(
            '<rect class="cavity" x="{}" y="{}" width="{}" height="{}" rx="3" stroke-width="{}"{}/>',
            round(left, 1),
            round(top, 1),
            round(width, 1),
            round(height, 1),
            2.2 if under else 1,
            mark_safe(' stroke-dasharray="4 3"' if bar.elsewhere else ""),
        )
        hatch = _hatched(left, self.bottoms[bar.row] - 8, width, 7) if under else mark_safe("")
        words = self._words(self._bar_words(bar), left + 6, top + self.sheet.line)
        return _linked(self.look.cavity_links.get(bar.cavity.name), format_html("{}{}{}", outline, hatch, words))

    def _link(self, link: Link) -> SafeString:
        x, top, bottom = self._x(link.column), self.bottoms[link.top], self.tops[link.bottom]
        middle = top + self._room_under(link.top) / 2
        line = format_html('<path d="M{} {}V{}"/>', round(x, 1), round(top, 1), round(bottom, 1))
        words = list(self._link_words(link))
        first = middle - (len(words) / 2 - 0.8) * self.sheet.line
        return _linked(
            self.look.element_links.get(link.element.name),
            format_html(
                "{}{}{}",
                line,
                self._symbol(link.element.name, x, middle),
                self._words(iter(words), x + _SYMBOL / 2 + (7 if link.element.name in self.look.shown else 4), first),
            ),
        )

    def _symbol(self, name: str, x: float, y: float) -> SafeString:
        """Draw an element: across its link when closed, along it when open; proved with a second outline."""
        closed = self.look.closed is not None and name in self.look.closed
        width, height = (_SYMBOL, 7) if closed else (7, 11)
        body = format_html(
            '<rect class="{}" x="{}" y="{}" width="{}" height="{}"{}/>',
            "element closed" if closed else "element",
            round(x - width / 2, 1),
            round(y - height / 2, 1),
            width,
            height,
            mark_safe(' fill="currentColor"' if closed else ""),
        )
        if name not in self.look.shown:
            return body
        return format_html(
            '{}<rect x="{}" y="{}" width="{}" height="{}"/>',
            body,
            round(x - width / 2 - 3, 1),
            round(y - height / 2 - 3, 1),
            width + 6,
            height + 6,
        )

    def _dots(self, link: Link) -> SafeString:
        x = round(self._x(link.column), 1)
        ends = (self.bottoms[link.top], self.tops[link.bottom])
        return format_html_join(
            "", '<circle cx="{}" cy="{}" r="2.4" fill="currentColor" stroke="none"/>', ((x, round(y, 1)) for y in ends)
        )

    def _words(self, lines: Iterator[tuple[str, bool]], x: float, y: float) -> SafeString:
        size = self.sheet.size
        drawn = (
            _text(x, y + index * self.sheet.line, words, size=size if is_name else size * 0.92, strong=not is_name)
            for index, (words, is_name) in enumerate(lines)
        )
        return format_html_join("", "{}", ((one,) for one in drawn))


def _text(x: float, y: float, words: str, *, size: float, strong: bool = False) -> SafeString:
    return format_html(
        '<text x="{}" y="{}" font-size="{}"{} fill="currentColor" stroke="none">{}</text>',
        round(x, 1),
        round(y, 1),
        round(size, 1),
        mark_safe(' font-weight="600"' if strong else ""),
        words,
    )


def _hatched(left: float, top: float, width: float, height: float) -> SafeString:
    """Return slanting strokes that fill a band; drawn and not a pattern, which papers and pages keep by a name."""
    pace = 5
    strokes = "".join(
        f"M{left + 3 + step * pace:.1f} {top + height:.1f}l{height:.1f} {-height:.1f}"
        for step in range(int((width - height - 4) // pace) + 1)
    )
    return format_html('<path class="hatch" d="{}"/>', strokes)


def _linked(address: str | None, drawn: SafeString) -> SafeString:
    return format_html('<a href="{}" tabindex="-1">{}</a>', address, drawn) if address else drawn
