"""What the plots on paper share: the ends of an axis, its round numbers, strokes and text as SVG. Measures are points.

Drawn by hand and not by a plotting library: the same content gives the same bytes, and text stays text.
"""

from dataclasses import dataclass
from html import escape
from math import floor, log10
from typing import Final

FONT: Final = "Open Sans, DejaVu Sans, sans-serif"
INK: Final = "#1b2327"
SOFT: Final = "#566167"
WASH: Final = "#f6f4ee"
SMALL: Final = 6.2
HEAD: Final = 7.2
_STEPS: Final = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of an axis."""

    low: float
    high: float

    @property
    def length(self) -> float:
        """Return how long it is, never zero."""
        return (self.high - self.low) or 1.0

    def widened(self, share: float) -> "Span":
        """Return it with a share of its length added on both sides."""
        more = self.length * share
        return Span(self.low - more, self.high + more)


def ticks(span: Span, about: int) -> list[float]:
    """Return round numbers inside the span, about as many as asked for.

    >>> ticks(Span(0, 5600), 5)
    [0.0, 1000.0, 2000.0, 3000.0, 4000.0, 5000.0]
    """
    rough = span.length / about
    scale = 10.0 ** floor(log10(rough))
    pace = min((step * scale for step in _STEPS), key=lambda step: abs(step - rough))
    first = -floor(-span.low / pace + 1e-9)
    count = floor(span.high / pace + 1e-9) - first + 1
    return [round((first + place) * pace, 9) for place in range(max(0, count))]


def line(x1: float, y1: float, x2: float, y2: float, stroke: str, width: float) -> str:
    """Return a straight stroke."""
    return f'<path d="M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}" stroke="{stroke}" stroke-width="{width:g}" fill="none"/>'


def text(
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "start",
    weight: int = 400,
    fill: str = INK,
    size: float = SMALL,
) -> str:
    """Return a text at a point; what it says is escaped."""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}" font-weight="{weight}" font-size="{size:g}" '
        f'fill="{fill}">{escape(words)}</text>'
    )
