"""Pressure against fluid drawn: what was measured beside settled nitrogen, cold nitrogen and the ideal gas.

Drawn twice from the same figures: a still picture that needs no script, and Bokeh's, to be read point by point.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from bokeh.embed import json_item
from bokeh.models import ColumnDataSource, HoverTool, Label, Legend, LegendItem, NumeralTickFormatter, Range1d, Span
from bokeh.plotting import figure
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from accounts.presentation import number_text, unit_label
from calcs.units import Dimension, from_si
from tests_app.queries.drawdowns import Comparison
from tests_app.web.plots import ACCENT, BAD, INK, SOFT, dressed

_HEIGHT: Final = 400
_ROOM: Final = 1.05
_WIDTH, _TALL = 1000.0, 320.0
_TICKS: Final = 4
_TITLES: Final = {
    "cold": "Nitrogen let out at once",
    "warm": "Nitrogen settled",
    "ideal": "Ideal gas",
}
_LINES: Final[dict[str, tuple[str, str, float]]] = {
    "cold": (INK, "solid", 2.0),
    "warm": (ACCENT, "dashed", 2.0),
    "ideal": (SOFT, "dotdash", 1.5),
}
_READ: Final[dict[str, tuple[str, str, str]]] = {
    "at_once": ("Read at once", "circle", INK),
    "settled": ("Read after the wait", "diamond", ACCENT),
}


@dataclass(frozen=True)
class Points:
    """What is drawn, in the units of the axes: curves by name, readings by name with their functions, the limit."""

    curves: dict[str, list[tuple[float, float]]]
    read: dict[str, list[tuple[float, float, str]]]
    limit: float | None
    start: float | None
    most: float
    top: float
    bottom: float
    unit: str
    volume_unit: str


def points_of(comparison: Comparison, unit: str, volume_unit: str) -> Points:
    """Return the figures of the plot."""

    def volume(si: float) -> float:
        return from_si(si, volume_unit, Dimension.VOLUME)

    def pressure(si: float) -> float:
        return from_si(si, unit, Dimension.PRESSURE)

    curves = {
        name: [(volume(drawn), pressure(at)) for drawn, at in comparison.curves.get(name, ())] for name in _TITLES
    }
    read: dict[str, list[tuple[float, float, str]]] = {}
    for name in _READ:
        found = [(row.drawn, getattr(row, name), row.name) for row in comparison.rows]
        read[name] = [(volume(drawn), pressure(at), words) for drawn, at, words in found if at is not None]
    verdict = comparison.verdict
    limit = pressure(verdict.limit) if verdict and verdict.limit is not None else None
    start = pressure(comparison.start) if comparison.start is not None else None
    heights = [at for curve in curves.values() for _, at in curve] + [at for one in read.values() for _, at, _ in one]
    heights += [one for one in (limit, start) if one is not None]
    top, low = max(heights, default=1.0), min(heights, default=0.0)
    most = max((volume(row.drawn) for row in comparison.rows), default=1.0)
    bottom = max(0.0, low - 0.15 * (top - low))
    return Points(curves, read, limit, start, most * _ROOM, top + 0.04 * (top - bottom), bottom, unit, volume_unit)


def drawn(points: Points) -> dict[str, Any]:
    """Return the plot for the page's script."""
    plot = figure(
        height=_HEIGHT,
        sizing_mode="stretch_width",
        tools="box_zoom,xzoom_in,xzoom_out,reset",
        toolbar_location="above",
        output_backend="canvas",
    )
    dressed(plot)
    plot.xaxis.axis_label = f"Fluid drawn, {unit_label(points.volume_unit)}"
    plot.yaxis.axis_label = f"Pressure, {unit_label(points.unit)}"
    plot.yaxis.formatter = NumeralTickFormatter(format="0,0")
    plot.x_range = Range1d(0, points.most)
    plot.y_range = Range1d(points.bottom, points.top)
    items = [_curve(plot, name, curve, points) for name, curve in points.curves.items() if curve]
    items += [_readings(plot, name, read, points) for name, read in points.read.items() if read]
    if points.limit is not None:
        _add_limit(plot, points.limit, unit_label(points.unit))
    legend = Legend(items=items, ncols=2, border_line_color=None, background_fill_alpha=0.0)
    legend.label_text_color, legend.label_text_font_size, legend.glyph_width = INK, "13px", 36
    plot.add_layout(legend, "below")
    return {"item": json_item(plot), "offset": 0, "marks": []}


def _curve(plot: Any, name: str, curve: Sequence[tuple[float, float]], points: Points) -> LegendItem:
    tone, dash, width = _LINES[name]
    source = ColumnDataSource({"x": [x for x, _ in curve], "y": [y for _, y in curve]})
    line = plot.line("x", "y", source=source, line_color=tone, line_dash=dash, line_width=width)
    plot.add_tools(HoverTool(renderers=[line], tooltips=[("Predicted", _TITLES[name]), *_figures(points)]))
    return LegendItem(label=_TITLES[name], renderers=[line])


def _readings(plot: Any, name: str, read: Sequence[tuple[float, float, str]], points: Points) -> LegendItem:
    title, mark, tone = _READ[name]
    source = {"x": [x for x, _, _ in read], "y": [y for _, y, _ in read], "name": [words for _, _, words in read]}
    marks = plot.scatter(
        "x", "y", source=ColumnDataSource(source), marker=mark, size=10, line_color=tone, fill_color=tone
    )
    plot.add_tools(HoverTool(renderers=[marks], tooltips=[("After", "@name"), (title, ""), *_figures(points)]))
    return LegendItem(label=title, renderers=[marks])


def _figures(points: Points) -> list[tuple[str, str]]:
    return [("Drawn", f"@x{{0,0.0}} {points.volume_unit}"), ("Pressure", f"@y{{0,0}} {points.unit}")]


def _add_limit(plot: Any, limit: float, unit: str) -> None:
    plot.add_layout(Span(location=limit, dimension="width", line_color=BAD, line_width=1.5))
    plot.add_layout(
        Label(
            x=6,
            x_units="screen",
            y=limit,
            y_offset=3,
            text=f"Final pressure at least {number_text(limit, 0)} {unit}",
            text_color=BAD,
            text_font_size="12px",
        )
    )


def still(points: Points) -> SafeString:
    """Return the same as a still picture with its axes in words; nothing without a curve or reading."""
    if not any(points.curves.values()) and not any(points.read.values()):
        return SafeString("")
    height = max(points.top - points.bottom, 1e-9)

    def x(volume: float) -> str:
        return f"{volume / points.most * _WIDTH:.1f}"

    def y(pressure: float) -> str:
        return f"{(1 - (pressure - points.bottom) / height) * _TALL:.1f}"

    grid = format_html_join("", '<line class="still-grid" x1="0" x2="1000" y1="{0}" y2="{0}"/>', _grid(points, y))
    lines = format_html_join(
        "",
        '<polyline class="still-{}" points="{}"/>',
        ((name, " ".join(f"{x(v)},{y(p)}" for v, p in curve)) for name, curve in points.curves.items() if curve),
    )
    marks = format_html_join(
        "",
        '<line class="still-read still-read-{0}" x1="{1}" x2="{1}" y1="{2}" y2="{2}"/>',
        ((name, x(v), y(p)) for name, read in points.read.items() for v, p, _ in read),
    )
    limit = (
        format_html('<line class="still-limit" x1="0" x2="1000" y1="{0}" y2="{0}"/>', y(points.limit))
        if points.limit is not None
        else ""
    )
    said = _said(points)
    return format_html(
        '<svg class="still still-drawdown" viewBox="0 0 1000 320" preserveAspectRatio="none" role="img" '
        'aria-label="{}">{}{}{}{}</svg><p class="small soft still-said">{}</p>',
        said,
        grid,
        lines,
        limit,
        marks,
        said,
    )


def _grid(points: Points, y: Any) -> list[tuple[str]]:
    step = (points.top - points.bottom) / _TICKS
    return [(y(points.bottom + step * number),) for number in range(1, _TICKS)]


def _said(points: Points) -> str:
    unit, volume = unit_label(points.unit), unit_label(points.volume_unit)
    words = (
        f"From {number_text(points.bottom, 0)} to {number_text(points.top, 0)} {unit} upward, from 0 to "
        f"{number_text(points.most, 1)} {volume} to the right: nitrogen let out at once as a full line, settled "
        "nitrogen dashed, the ideal gas dotted, readings as dots."
    )
    if points.limit is not None:
        words += f" The level line is the limit, {number_text(points.limit, 0)} {unit}."
    return words
