"""The plot of a judged step as SVG: the whole step, and beside it each hold drawn close enough to see a fall.

Drawn by hand and not by a plotting library: the same content gives the same bytes, text stays text, and the
judged windows are told apart by pattern and label, so that a grey print reads as well. Measures are points.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from tests_app.documents import figures
from tests_app.documents.content import CurveContent, HoldContent, LimitsContent, StepContent
from tests_app.documents.drawing import FONT, HEAD, INK, SMALL, SOFT, WASH, Span, line, text, ticks

WIDTH: Final = 494.0
HEIGHT: Final = 105.0
_TOP, _BOTTOM = 19.0, 22.0
_OVERVIEW: Final = (34.0, 190.0)
_LOW: Final = (226.0, 333.0)
_HIGH: Final = (381.0, 492.0)
_HIGH_ALONE: Final = (236.0, 492.0)
_MINUTE: Final = 60.0
_CLEAR_OF_LIMIT: Final = 8.5
_MOST_POINTS: Final = 1500


@dataclass(frozen=True, slots=True)
class Panel:
    """One pair of axes: where it stands on the sheet and what it shows."""

    left: float
    right: float
    times: Span
    pressures: Span

    def x(self, seconds: float) -> float:
        """Return where a time stands, kept inside the panel."""
        share = (seconds - self.times.low) / self.times.length
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)

    def y(self, pressure: float) -> float:
        """Return where a pressure stands; outside the panel where it is out of range."""
        share = (pressure - self.pressures.low) / self.pressures.length
        return HEIGHT - _BOTTOM - share * (HEIGHT - _BOTTOM - _TOP)


def step_plot(step: StepContent) -> str:
    """Return the SVG of a step that was judged from a recording; raises ValueError when it holds no curve."""
    curve = step["curve"]
    if curve is None or not curve["t"]:
        raise ValueError(f"Step {step['order']} holds no curve to draw.")
    body = "".join(_drawn(step, curve))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" width="{WIDTH:g}pt" '
        f'height="{HEIGHT:g}pt" font-family="{FONT}" font-size="{SMALL}" fill="{INK}">{body}</svg>'
    )


def description(step: StepContent) -> str:
    """Return the plot in words, for those who can't see it."""
    low = "No low hold was asked." if step["limits"]["low_min"] is None else _told(step["low"], "low")
    return f"Pressure over time of step {step['order']}. {low} {_told(step['high'], 'high')}"


def _told(hold: HoldContent | None, name: str) -> str:
    if hold is None or hold["duration_s"] is None or hold["min_pressure"] is None:
        return f"No {name} hold was found."
    unit = hold["min_pressure"]["unit"]
    return (
        f"The {name} hold lasts {figures.duration(hold['duration_s'])} minutes; its lowest pressure is "
        f"{figures.held(hold['min_pressure'], unit, figures.down)} {unit}."
    )


def _drawn(step: StepContent, curve: CurveContent) -> Iterator[str]:
    limits = step["limits"]
    yield from _overview(curve, limits, step)
    asked = limits["low_min"], limits["low_max"]
    if asked[0] is not None and asked[1] is not None:
        low = Span(*(figures.in_unit(limit, curve["unit"]) for limit in (asked[0], asked[1])))
        yield from _closer(_LOW, curve, step["low"], "Low hold", (low.low, low.high), low.length)
    target = figures.in_unit(limits["high_target"], curve["unit"])
    ceiling = limits["high_max"]
    edges = (target,) if ceiling is None else (target, figures.in_unit(ceiling, curve["unit"]))
    place = _HIGH if asked[0] is not None else _HIGH_ALONE
    yield from _closer(place, curve, step["high"], "High hold", edges, 0.012 * target)


def _overview(curve: CurveContent, limits: LimitsContent, step: StepContent) -> Iterator[str]:
    target = figures.in_unit(limits["high_target"], curve["unit"])
    top = max(*curve["p"], target) * 1.13
    panel = Panel(*_OVERVIEW, Span(curve["t"][0], curve["t"][-1]), Span(min(0.0, *curve["p"]), top))
    yield _title(panel, "Whole step", curve["unit"])
    yield from _frame(panel)
    yield from _windows(panel, step)
    yield _limit_line(panel, target)
    yield from _pressure_ticks(panel, (), curve["unit"])
    yield from _time_ticks(panel, curve["t"][0])
    yield _trace(panel, curve)


def _closer(
    place: tuple[float, float],
    curve: CurveContent,
    hold: HoldContent | None,
    name: str,
    edges: Sequence[float],
    room: float,
) -> Iterator[str]:
    """Draw one hold close up; a hold that was not found shows the whole step against its limits."""
    window = _window(hold)
    times = Span(curve["t"][0], curve["t"][-1]) if window is None else window.widened(0.16)
    inside = [p for t, p in zip(curve["t"], curve["p"], strict=True) if window and window.low <= t <= window.high]
    shown = [*edges, *inside]
    reach = Span(min(shown), max(shown))
    panel = Panel(*place, times, Span(max(0.0, reach.low - 0.6 * room), reach.high + 0.6 * room))
    yield _title(panel, name, _held_for(hold))
    yield from _frame(panel)
    if window is not None:
        yield from _pattern(panel, window, low=name.startswith("Low"))
    for edge in edges:
        yield _limit_line(panel, edge)
    yield from _pressure_ticks(panel, edges, curve["unit"])
    yield from _time_ticks(panel, curve["t"][0])
    yield _trace(panel, curve)


def _held_for(hold: HoldContent | None) -> str:
    if hold is None or hold["duration_s"] is None:
        return "none found"
    return f"{figures.duration(hold['duration_s'])} judged"


def _window(hold: HoldContent | None) -> Span | None:
    if hold is None or hold["start_s"] is None or hold["end_s"] is None:
        return None
    return Span(hold["start_s"], hold["end_s"])


def _windows(panel: Panel, step: StepContent) -> Iterator[str]:
    for hold, name in ((step["low"], "low"), (step["high"], "high")):
        window = _window(hold)
        if window is None:
            continue
        yield from _pattern(panel, window, low=name == "low")
        middle = (panel.x(window.low) + panel.x(window.high)) / 2
        yield text(middle, _TOP - 1.8, name, anchor="middle", weight=600)


def _pattern(panel: Panel, window: Span, *, low: bool) -> Iterator[str]:
    """Mark a judged window: slanted strokes for the low hold, dots for the high one, and an edge on both sides."""
    left, right = panel.x(window.low), panel.x(window.high)
    top, bottom = _TOP, HEIGHT - _BOTTOM
    yield f'<rect x="{left:.2f}" y="{top}" width="{right - left:.2f}" height="{bottom - top:g}" fill="{WASH}"/>'
    if low:
        yield _strokes(left, right, top, bottom)
    else:
        yield _dots(left, right, top, bottom)
    for edge in (left, right):
        yield line(edge, top, edge, bottom, SOFT, 0.5)


def _strokes(left: float, right: float, top: float, bottom: float, gap: float = 5.0) -> str:
    """Return 45 degree strokes cut to the rectangle."""
    path = []
    height = bottom - top
    offset = left - height + gap
    while offset < right:
        x1, y1 = (offset, bottom) if offset >= left else (left, bottom - (left - offset))
        end = offset + height
        x2, y2 = (end, top) if end <= right else (right, bottom - (right - offset))
        if x2 > x1:
            path.append(f"M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}")
        offset += gap
    return f'<path d="{"".join(path)}" stroke="#c3c0b6" stroke-width=".45" fill="none"/>'


def _dots(left: float, right: float, top: float, bottom: float, gap: float = 5.0) -> str:
    """Return a field of dots in the rectangle, every other row shifted by half a gap."""
    path = []
    for row in range(1, int((bottom - top) / gap) + 1):
        x = left + gap / (2 if row % 2 else 1)
        while x < right - 0.5:
            path.append(f"M{x:.2f} {top + row * gap - gap / 2:.2f}h.01")
            x += gap
    return f'<path d="{"".join(path)}" stroke="#a9a69c" stroke-width="1" stroke-linecap="round" fill="none"/>'


def _frame(panel: Panel) -> Iterator[str]:
    yield line(panel.left, HEIGHT - _BOTTOM, panel.right, HEIGHT - _BOTTOM, SOFT, 0.6)
    yield line(panel.left, _TOP, panel.left, HEIGHT - _BOTTOM, SOFT, 0.6)


def _limit_line(panel: Panel, pressure: float) -> str:
    y = panel.y(pressure)
    return (
        f'<path d="M{panel.left:.2f} {y:.2f}H{panel.right:.2f}" stroke="{INK}" stroke-width=".7" '
        'stroke-dasharray="4 2" fill="none"/>'
    )


def _trace(panel: Panel, curve: CurveContent) -> str:
    """Return the curve, cut at the edges of the panel (a clip path would lose the tags of the text beside it)."""
    points = [
        (panel.x(t), panel.y(p))
        for t, p in zip(curve["t"], curve["p"], strict=True)
        if panel.times.low <= t <= panel.times.high
    ]
    every = max(1, len(points) // _MOST_POINTS)
    path = "".join(_strokes_inside(points[::every]))
    return f'<path d="{path}" stroke="{INK}" stroke-width=".9" stroke-linejoin="round" fill="none"/>'


def _strokes_inside(points: Sequence[tuple[float, float]]) -> Iterator[str]:
    """Give the pieces of a polyline that lie between the top and the bottom of a panel."""
    pen: tuple[float, float] | None = None
    for start, end in pairwise(points):
        piece = _cut(start, end, _TOP, HEIGHT - _BOTTOM)
        if piece is None:
            continue
        (x1, y1), (x2, y2) = piece
        if pen != (x1, y1):
            yield f"M{x1:.2f} {y1:.2f}"
        yield f"L{x2:.2f} {y2:.2f}"
        pen = (x2, y2)


def _cut(
    start: tuple[float, float], end: tuple[float, float], top: float, bottom: float
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Return the part of a stroke between two heights, or None when all of it lies outside."""
    (x1, y1), (x2, y2) = start, end
    if max(y1, y2) < top or min(y1, y2) > bottom:
        return None

    def at(y: float) -> tuple[float, float]:
        return (x1 + (x2 - x1) * (y - y1) / (y2 - y1), y)

    first = start if top <= y1 <= bottom else at(min(max(y1, top), bottom))
    last = end if top <= y2 <= bottom else at(min(max(y2, top), bottom))
    return first, last


def _pressure_ticks(panel: Panel, edges: Sequence[float], unit: str) -> Iterator[str]:
    """Label the axis; limits stand in bold and push the round numbers beside them away."""
    taken = [panel.y(edge) for edge in edges]
    for edge, y in zip(edges, taken, strict=True):
        yield text(panel.left - 4, y + 2.1, figures.required_unrounded(edge, unit), anchor="end", weight=700)
    for value in ticks(panel.pressures, 4):
        y = panel.y(value)
        if all(abs(y - other) > _CLEAR_OF_LIMIT for other in taken) and y > _TOP:
            yield line(panel.left - 2, y, panel.left, y, SOFT, 0.6)
            label = figures.number_text(value)
            yield text(panel.left - 4, y + 2.1, label, anchor="end", fill=SOFT)


def _time_ticks(panel: Panel, origin: float) -> Iterator[str]:
    """Label the time axis in minutes from the start of the plotted curve."""
    about = max(3, int((panel.right - panel.left) / 26))
    shown = Span((panel.times.low - origin) / _MINUTE, (panel.times.high - origin) / _MINUTE)
    found = [value for value in ticks(shown, about) if value >= 0]
    base = HEIGHT - _BOTTOM
    for value in found:
        x = panel.x(origin + value * _MINUTE)
        yield line(x, base, x, base + 2, SOFT, 0.6)
        yield text(x, base + 9, figures.number_text(value), anchor="middle", fill=SOFT)
    yield text((panel.left + panel.right) / 2, base + 17.5, "minutes", anchor="middle", fill=SOFT)


def _title(panel: Panel, name: str, aside: str) -> str:
    return text(panel.left, 9, name, size=HEAD, weight=600) + text(
        panel.right, 9, aside, anchor="end", fill=SOFT, size=SMALL
    )
