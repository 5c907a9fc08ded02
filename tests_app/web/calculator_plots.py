"""The plots of calculations: the best precharge on its curve, and a drawdown with what was fitted to it.

Figures come from the answer as it is shown, so they are in the reader's units already.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from bokeh.embed import json_item
from bokeh.models import ColumnDataSource, HoverTool, Legend, LegendItem, NumeralTickFormatter, Range1d
from bokeh.plotting import figure

from accounts.presentation import number_text, unit_label
from calcs.units import DISPLAY_UNITS, Dimension, System, from_si, read
from tests_app.web.calculator_base import CalculationForm
from tests_app.web.calculator_drawdown_form import DrawdownFitForm
from tests_app.web.plots import ACCENT, INK, SOFT, dressed

Shown = Mapping[str, Any]
Pair = tuple[float, float]
_ROOM: Final = 1.08


class XYPlot:
    """A plot of a few named lines over two quantities."""

    def __init__(self, x_words: str, x_unit: str, y_words: str, y_unit: str) -> None:
        self.plot = figure(
            height=400,
            sizing_mode="stretch_width",
            tools="box_zoom,xzoom_in,xzoom_out,reset",
            toolbar_location="above",
            output_backend="canvas",
        )
        dressed(self.plot)
        self.plot.xaxis.axis_label = f"{x_words}, {unit_label(x_unit)}"
        self.plot.yaxis.axis_label = f"{y_words}, {unit_label(y_unit)}"
        self.plot.xaxis.formatter = NumeralTickFormatter(format="0,0[.]0")
        self.plot.yaxis.formatter = NumeralTickFormatter(format="0,0[.]0")
        self.plot.xaxis.ticker.desired_num_ticks = 5
        self._figures = [
            (x_words, f"@x{{0,0[.]00}} {unit_label(x_unit)}"),
            (y_words, f"@y{{0,0[.]00}} {unit_label(y_unit)}"),
        ]
        self._items: list[LegendItem] = []

    def add(self, title: str, pairs: Sequence[Pair], *, tone: str, dash: Any = "", mark: str = "") -> None:
        """Draw a line by its dash, marks by their shape, or both."""
        source = ColumnDataSource({"x": [x for x, _ in pairs], "y": [y for _, y in pairs]})
        drawn: list[Any] = []
        if dash:
            drawn.append(self.plot.line("x", "y", source=source, line_color=tone, line_dash=dash, line_width=2))
        if mark:
            drawn.append(
                self.plot.scatter("x", "y", source=source, marker=mark, size=9, line_color=tone, fill_color=tone)
            )
        self.plot.add_tools(HoverTool(renderers=drawn, tooltips=[("", title), *self._figures]))
        self._items.append(LegendItem(label=title, renderers=drawn))

    def done(self, x_most: float, y_most: float, *, y_least: float = 0.0) -> Any:
        """Return the plot for the page's script, its axes from zero, or the second from `y_least`."""
        self.plot.x_range, self.plot.y_range = Range1d(0, x_most * _ROOM or 1), Range1d(y_least, y_most * _ROOM or 1)
        legend = Legend(items=self._items, ncols=2, border_line_color=None, background_fill_alpha=0.0)
        legend.label_text_color, legend.label_text_font_size, legend.glyph_width = INK, "13px", 36
        self.plot.add_layout(legend, "below")
        return {"item": json_item(self.plot), "offset": 0, "marks": []}


def best_precharge(found: Shown, form: CalculationForm) -> Any:
    """Draw the fluid a bank gives over its precharge, with the best one and today's."""
    unit, volume = found["precharge"]["unit"], found["usable"]["unit"]
    drawing = XYPlot("Precharge", unit, "Usable fluid", volume)
    curve = [_pair(point) for point in found["curve"]]
    drawing.add("Usable fluid", curve, tone=ACCENT, dash="solid")
    drawing.add("Best", [_pair(found)], tone=INK, mark="diamond")
    if found["now"]:
        drawing.add("Now", [_pair(found["now"])], tone=SOFT, mark="square")
    return drawing.done(max(x for x, _ in curve), max(y for _, y in curve))


def _pair(point: Shown) -> Pair:
    return float(point["precharge"]["value"]), float(point["usable"]["value"])


def drawdown_fit(found: Shown, form: CalculationForm) -> Any:
    """Draw the pressures read, the curve fitted to them and what the nameplate promises."""
    assert isinstance(form, DrawdownFitForm)
    rows = fit_rows(found, form)
    units = form.units
    drawing = XYPlot(
        "Fluid drawn",
        DISPLAY_UNITS[units][Dimension.VOLUME],
        "Pressure",
        DISPLAY_UNITS[units][Dimension.PRESSURE],
    )
    drawing.add("As nameplate", _drawn(rows, "nameplate"), tone=SOFT, dash="dashed")
    drawing.add("Fitted", _drawn(rows, "fitted"), tone=ACCENT, dash="solid")
    drawing.add("Read", _drawn(rows, "read"), tone=INK, mark="circle")
    most = max(row["drawn"]["value"] for row in rows)
    highest = max(row["read"]["value"] for row in rows)
    return drawing.done(most, highest)


def fit_rows(found: Shown, form: DrawdownFitForm) -> list[dict[str, Any]]:
    """Return a row for each reading: drawn, read, fitted, off and by nameplate, in the reader's units."""
    rows = []
    for index, point in enumerate(form.points):
        rows.append(
            {
                "drawn": _shown(point["withdrawn"], Dimension.VOLUME, form.units),
                "read": _shown(point["pressure"], Dimension.PRESSURE, form.units),
                "fitted": found["predicted"][index],
                "off": _off(found["residuals"][index]),
                "nameplate": found["nameplate_pressures"][index],
            }
        )
    return rows


def _off(quantity: Shown | None) -> str:
    return "–" if quantity is None else number_text(quantity["value"], 1)


def _shown(text: str, dimension: Dimension, units: System) -> dict[str, Any]:
    unit = DISPLAY_UNITS[units][dimension]
    return {"value": from_si(read(text, dimension, field="points").si(dimension), unit, dimension), "unit": unit}


def _drawn(rows: Sequence[Shown], name: str) -> list[Pair]:
    return [(row["drawn"]["value"], row[name]["value"]) for row in rows if row[name] is not None]


PLOTS: Final[Mapping[str, Callable[[Shown, CalculationForm], Any]]] = {
    "best-precharge": best_precharge,
    "drawdown-fit": drawdown_fit,
}
"""Every calculation with a plot."""
