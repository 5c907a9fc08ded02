"""Where the parts of a pressure system go in its drawing: cavities as level bars, elements as upright links.

The system is drawn in blocks, one a part (bore, kill side, choke side, manifold, string); a cavity that elements of
another block touch is drawn again there, so that no line runs across the page. Within a block every cavity has a row
under those it is reached from, and every element a column of its own, so that links never share a line.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, count
from typing import Final

from equipment.documents.pressure_sketch import Sketch, SketchedCavity, SketchedElement
from equipment.models import PositionGroup

_SAME_BLOCK: Final = {
    PositionGroup.RISER: PositionGroup.BORE,
    PositionGroup.CONTROL: PositionGroup.BORE,
    PositionGroup.DRIVE: PositionGroup.STRING,
}
_TITLES: Final = {
    PositionGroup.KILL_SIDE: "Kill side",
    PositionGroup.BORE: "Stack bore",
    PositionGroup.CHOKE_SIDE: "Choke side",
    PositionGroup.MANIFOLD: "Manifold",
    PositionGroup.STRING: "String and drive",
}
"""The blocks in the order they are drawn in."""


@dataclass(frozen=True, slots=True)
class Bar:
    """A cavity: its row, the columns it reaches over, and whether its own place is in another block."""

    cavity: SketchedCavity
    row: int
    first: int
    last: int
    elsewhere: bool


@dataclass(frozen=True, slots=True)
class Link:
    """An element: its column, and the rows of the bars it joins."""

    element: SketchedElement
    column: int
    top: int
    bottom: int


@dataclass(frozen=True, slots=True)
class Block:
    """One part of the drawing, in columns and rows counted from zero."""

    title: str
    bars: tuple[Bar, ...]
    links: tuple[Link, ...]
    columns: int
    rows: int


def blocks_of(sketch: Sketch) -> tuple[Block, ...]:
    """Return the blocks that hold anything, in the order they are drawn in."""
    found = (_block(sketch, part) for part in _TITLES)
    return tuple(block for block in found if block.bars)


def _home(part: str) -> str:
    return _SAME_BLOCK.get(PositionGroup(part), part)


def _block(sketch: Sketch, part: PositionGroup) -> Block:
    homes = {cavity.name: _home(cavity.part) for cavity in sketch.cavities}
    elements = [one for one in sketch.elements if _block_of(one, homes) == part]
    touched = {name for one in elements for name in (one.well_side, one.far_side)}
    own = [cavity for cavity in sketch.cavities if homes[cavity.name] == part]
    guests = [cavity for cavity in sketch.cavities if cavity.name in touched and homes[cavity.name] != part]
    order = _reached_in_order([*guests, *own], elements, roots=guests or own[:1])
    rows = _rows(order, elements)
    columns = _Columns(order, elements, rows)
    if part == PositionGroup.STRING and rows:
        # The well lies beneath the string, so its end stands at the bottom.
        deepest = max(rows.values())
        rows = {name: deepest - row for name, row in rows.items()}
    bars = tuple(
        Bar(cavity, rows[cavity.name], *columns.span_of(cavity.name), homes[cavity.name] != part) for cavity in order
    )
    links = tuple(_link(one, columns.of_element[one.name], rows) for one in elements)
    return Block(_TITLES[part], bars, links, columns.used, max(rows.values(), default=-1) + 1)


def _block_of(element: SketchedElement, homes: dict[str, str]) -> str:
    """Return the block an element is drawn in: of two, the one that is not the bore, else the one farther out."""
    well, far = homes[element.well_side], homes[element.far_side]
    return well if far == PositionGroup.BORE else far


def _link(element: SketchedElement, column: int, rows: dict[str, int]) -> Link:
    top, bottom = sorted((rows[element.well_side], rows[element.far_side]))
    return Link(element, column, top, bottom)


def _reached_in_order(
    cavities: Sequence[SketchedCavity], elements: Sequence[SketchedElement], *, roots: Iterable[SketchedCavity]
) -> list[SketchedCavity]:
    """Return the cavities as they are reached from the roots, nearest first; what hangs on none begins anew."""
    by_name = {cavity.name: cavity for cavity in cavities}
    queue = [root.name for root in roots]
    reached = dict.fromkeys(queue)
    waiting = [cavity.name for cavity in cavities]
    while queue or waiting:
        name = queue.pop(0) if queue else waiting.pop(0)
        if name in reached and name in waiting:
            waiting.remove(name)
        reached[name] = None
        for neighbour in _neighbours(name, elements):
            if neighbour not in reached:
                reached[neighbour] = None
                queue.append(neighbour)
    return [by_name[name] for name in reached]


def _neighbours(name: str, elements: Iterable[SketchedElement]) -> list[str]:
    sides = ((one.well_side, one.far_side) for one in elements)
    return [far if well == name else well for well, far in sides if name in (well, far)]


def _rows(order: Sequence[SketchedCavity], elements: Sequence[SketchedElement]) -> dict[str, int]:
    """Return each cavity's row: one under the lowest of those reached before it that it is joined to."""
    rows: dict[str, int] = {}
    for cavity in order:
        above = [rows[name] for name in _neighbours(cavity.name, elements) if name in rows]
        rows[cavity.name] = max(above, default=-1) + 1
    return rows


class _Columns:
    """The column of every element: a branch keeps its column as far down as it goes, every other gets a new one.

    Columns whose parts do not meet are put together in the end, so that the block takes no more width than it needs.
    """

    def __init__(
        self, order: Sequence[SketchedCavity], elements: Sequence[SketchedElement], rows: dict[str, int]
    ) -> None:
        self.of_element: dict[str, int] = {}
        self._place = {cavity.name: place for place, cavity in enumerate(order)}
        self._elements = elements
        self._rows = rows
        self._next = count()
        self._seen: set[str] = set()
        self._alone: dict[str, int] = {}
        for cavity in order:
            if cavity.name not in self._seen:
                self._descend(cavity.name)
        self.used = self._put_together(next(self._next))

    def span_of(self, name: str) -> tuple[int, int]:
        """Return the first and last column a cavity reaches over."""
        touching = [one for one in self._elements if name in (one.well_side, one.far_side)]
        columns = [self.of_element[one.name] for one in touching] or [self._alone[name]]
        return min(columns), max(columns)

    def _descend(self, name: str) -> int:
        self._seen.add(name)
        columns = []
        for one in self._elements:
            if name not in (one.well_side, one.far_side):
                continue
            other = one.far_side if one.well_side == name else one.well_side
            if self._place[other] > self._place[name]:
                column = next(self._next) if other in self._seen else self._descend(other)
                self.of_element[one.name] = column
                columns.append(column)
        if not columns:
            columns.append(next(self._next))
            self._alone[name] = columns[0]
        return columns[0]

    def _put_together(self, used: int) -> int:
        """Move each column into the first to its left where nothing meets; returns how many are left."""
        column = 1
        while column < used:
            if any(self._moved(column, to) for to in range(column)):
                self._close_up(column)
                used -= 1
            else:
                column += 1
        return used

    def _moved(self, column: int, to: int) -> bool:
        """Move a column into another unless that makes parts meet, and tell whether it did."""
        elements, alone = dict(self.of_element), dict(self._alone)
        meeting = self._meetings()
        for kept in (self.of_element, self._alone):
            kept.update({name: to for name, where in kept.items() if where == column})
        if self._meetings() <= meeting:
            return True
        self.of_element, self._alone = elements, alone
        return False

    def _close_up(self, column: int) -> None:
        for kept in (self.of_element, self._alone):
            kept.update({name: where - 1 for name, where in kept.items() if where > column})

    def _meetings(self) -> int:
        """Return how often bars of one row, links of one column, or a link and a bar it does not join meet."""
        bars = [(name, row, *self.span_of(name)) for name, row in self._rows.items()]
        links = [self._upright(one) for one in self._elements]
        in_rows = sum(
            one[1] == other[1] and one[2] <= other[3] and other[2] <= one[3] for one, other in combinations(bars, 2)
        )
        in_columns = sum(
            one[0] == other[0] and one[1] < other[2] and other[1] < one[2] for one, other in combinations(links, 2)
        )
        over = sum(
            top < row < bottom and first <= column <= last
            for column, top, bottom in links
            for _, row, first, last in bars
        )
        return in_rows + in_columns + over

    def _upright(self, element: SketchedElement) -> tuple[int, int, int]:
        top, bottom = sorted((self._rows[element.well_side], self._rows[element.far_side]))
        return self.of_element[element.name], top, bottom
