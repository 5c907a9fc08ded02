"""The worksheet's plot: pressure against fluid delivered, one curve a gas law, told apart by dash, mark and tone."""

from collections.abc import Sequence
from typing import Any, Final

from bokeh.embed import json_item
from bokeh.models import ColumnDataSource, HoverTool, Label, Legend, LegendItem, NumeralTickFormatter, Range1d, Span
from bokeh.plotting import figure

from accounts.presentation import unit_label
from calcs.gas import Model
from calcs.units import DISPLAY_UNITS, Dimension, System, from_si
from tests_app.web.plots import ACCENT, BAD, INK, RULE, SOFT, dressed
from tests_app.web.worksheet_curves import Curve, Curves
from tests_app.web.worksheet_sums import ByModel

_HEIGHT: Final = 460
_ROOM: Final = 1.08
_LONGEST_NAME: Final = 22
_CLOSE: Final = 0.08
_LINES: Final[dict[Model, tuple[str, Any, str, float]]] = {
    Model.BOYLE_GAUGE: (SOFT, "dotted", "square", 2.5),
    Model.BOYLE: (SOFT, "dashdot", "triangle", 1.5),
    Model.NITROGEN_ISOTHERMAL: (ACCENT, "dashed", "diamond", 2.0),
    Model.NITROGEN_ISENTROPIC: (INK, "solid", "circle", 2.5),
}
"""Tone, dash, mark and width of each law's curve."""


class Drawing:
    """The plot as it is put together, in the reader's units."""

    def __init__(self, curves: Curves, units: System) -> None:
        self.pressure_unit = DISPLAY_UNITS[units][Dimension.PRESSURE]
        self.volume_unit = DISPLAY_UNITS[units][Dimension.VOLUME]
        self.plot = figure(
            height=_HEIGHT,
            sizing_mode="stretch_width",
            tools="box_zoom,xzoom_in,xzoom_out,reset",
            toolbar_location="above",
            output_backend="canvas",
        )
        dressed(self.plot)
        self.plot.xaxis.axis_label = f"Fluid delivered by the bank, {unit_label(self.volume_unit)}"
        self.plot.yaxis.axis_label = f"Pressure, {self.pressure_unit}"
        self.plot.yaxis.formatter = NumeralTickFormatter(format="0,0")
        self.plot.xaxis.ticker.desired_num_ticks = 5
        most = max((point.delivered for curve in curves.curves for point in curve.drawn), default=1.0)
        self.plot.x_range = Range1d(0, self.volume(most) * _ROOM)
        self.plot.y_range = Range1d(0, self.pressure(curves.pressures[0]) * _ROOM)

    def volume(self, si: float) -> float:
        """Return a volume on the axis."""
        return from_si(si, self.volume_unit, Dimension.VOLUME)

    def pressure(self, si: float) -> float:
        """Return a pressure on the axis."""
        return from_si(si, self.pressure_unit, Dimension.PRESSURE)

    def add_curves(self, curves: Sequence[Curve], found: Sequence[ByModel]) -> None:
        """Draw each law's line with its marks, and the legend that names them."""
        answers = {one.model: one for one in found}
        items = [LegendItem(label=curve.title, renderers=self._line(curve, answers[curve.model])) for curve in curves]
        legend = Legend(items=items, ncols=2, border_line_color=None, background_fill_alpha=0.0)
        legend.label_text_color, legend.label_text_font_size = INK, "13px"
        legend.glyph_width = 44
        self.plot.add_layout(legend, "below")

    def _line(self, curve: Curve, answer: ByModel) -> list[Any]:
        tone, dash, mark, width = _LINES[curve.model]
        x, y = [self.volume(one.delivered) for one in curve.drawn], [self.pressure(one.pressure) for one in curve.drawn]
        line = self.plot.line(
            "x", "y", source=ColumnDataSource({"x": x, "y": y}), line_color=tone, line_dash=dash, line_width=width
        )
        after = _after_functions(answer)
        source = {
            "x": [self.volume(drawn) for drawn, _, _ in after],
            "y": [self.pressure(pressure) for _, pressure, _ in after],
            "name": [name for _, _, name in after],
        }
        marks = self.plot.scatter(
            "x", "y", source=ColumnDataSource(source), marker=mark, size=9, line_color=tone, fill_color=tone
        )
        figures = [("Delivered", f"@x{{0,0.00}} {self.volume_unit}"), ("Pressure", f"@y{{0,0}} {self.pressure_unit}")]
        self.plot.add_tools(HoverTool(renderers=[line], tooltips=[("Gas law", curve.title), *figures]))
        self.plot.add_tools(HoverTool(renderers=[marks], tooltips=[("After", "@name"), ("By", curve.title), *figures]))
        return [line, marks]

    def add_level(self, pressure: float, words: str, tone: str, *, above: bool) -> None:
        """Draw a line at a pressure that must not be lost, with its words at the left."""
        at = self.pressure(pressure)
        self.plot.add_layout(Span(location=at, dimension="width", line_color=tone, line_width=1.5))
        self.plot.add_layout(
            Label(
                x=6,
                x_units="screen",
                y=at,
                y_offset=3 if above else -17,
                text=words,
                text_color=tone,
                text_font_size="12px",
            )
        )

    def add_functions(self, answer: ByModel) -> None:
        """Draw an upright line where each function has had its fluid, its name along it."""
        drawn = 0.0
        for step in answer.sequence.steps if answer.sequence else ():
            drawn += step.volume
            at = self.volume(drawn)
            self.plot.add_layout(
                Span(location=at, dimension="height", line_color=RULE, line_dash="dotted", line_width=1)
            )
            name = step.name if len(step.name) <= _LONGEST_NAME else f"{step.name[: _LONGEST_NAME - 1]}…"
            top = Label(
                x=at,
                y=self.plot.y_range.end,
                angle=90,
                angle_units="deg",
                text_align="right",
                text_baseline="bottom",
                x_offset=-2,
                y_offset=-4,
                text=name,
                text_color=SOFT,
                text_font_size="12px",
            )
            self.plot.add_layout(top)


def plotted(curves: Curves, found: Sequence[ByModel], levels: Sequence[tuple[str, float]], units: System) -> Any:
    """Return the plot for the page's script; `levels` are named pressures, Pa."""
    drawing = Drawing(curves, units)
    first = next((one for one in found if one.sequence), None)
    if first is not None:
        drawing.add_functions(first)
    lowest = min((pressure for _, pressure in levels), default=0.0)
    for words, pressure in levels:
        # Left and under a level no curve passes; two levels close together take both sides of the pair.
        above = lowest < pressure < lowest + _CLOSE * curves.pressures[0]
        drawing.add_level(pressure, words, BAD if words == levels[0][0] else SOFT, above=above)
    drawing.add_curves(curves.curves, found)
    return {"item": json_item(drawing.plot), "offset": 0, "marks": []}


def _after_functions(answer: ByModel) -> list[tuple[float, float, str]]:
    """Return (fluid drawn, pressure, name) after each function the bank has fluid for."""
    found, drawn = [], 0.0
    for step in answer.sequence.steps if answer.sequence else ():
        drawn += step.volume
        if step.pressure is not None:
            found.append((drawn, float(step.pressure), step.name))
    return found
