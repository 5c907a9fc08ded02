"""Pressure plots as data for the page: the curve, the judged windows, and the marks a person can move."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from bokeh.embed import json_item
from bokeh.models import (
    BoxAnnotation,
    ColumnDataSource,
    DatetimeTickFormatter,
    HoverTool,
    Label,
    NumeralTickFormatter,
    Range1d,
    Span,
)
from bokeh.plotting import figure
from django.http import HttpRequest, JsonResponse
from django.views.decorators.http import require_GET

from calcs.units import Dimension, System, from_si, to_si
from equipment.models import Rig
from tests_app.documents.content import HoldContent
from tests_app.models import Recording, Step
from tests_app.queries import records
from tests_app.web.content_shown import content_shown
from tests_app.web.entry import Visit, signed_in
from tests_app.web.times import span_text
from tests_app.web.verdict_view import pressure_unit

# The page's light tokens; the script that draws puts the reader's own in their place.
# White itself is what a plot has without being told, so it would not be sent: hence a white all but white.
INK, SOFT, LINE, SHEET, ACCENT = "#1b2327", "#566167", "#e3dfd4", "#fffffe", "#0e5561"
GOOD, BAD, RULE = "#2a6639", "#a0201c", "#8b9090"

_MILLI: Final = 1000.0
_HEIGHT: Final = 320
_MOST_TICKS: Final = 4
_CLOCK: Final = "%H:%M:%S"
_TITLES: Final = {"low": "Low hold", "high": "High hold"}


@dataclass(frozen=True)
class Window:
    """A judged hold on the time axis, s, with its words."""

    start_s: float
    end_s: float
    words: str
    passes: bool


@dataclass(frozen=True)
class Mark:
    """A part of the recording that is judged for a step."""

    name: str
    start_s: float
    end_s: float
    words: str


@dataclass(frozen=True)
class Curve:
    """Samples to draw: seconds, pressures in `unit`, and the clock at zero seconds where it is known."""

    t: Sequence[float]
    p: Sequence[float]
    unit: str
    started_at: datetime | None

    @property
    def offset(self) -> float:
        """Return the axis value at zero seconds, ms: the rig's wall clock, or zero without one."""
        if self.started_at is None:
            return 0.0
        wall = self.started_at.replace(tzinfo=None)
        return (wall - datetime(1970, 1, 1)).total_seconds() * _MILLI  # noqa: DTZ001 - a wall clock, on purpose

    def at(self, seconds: float) -> float:
        """Return seconds as they stand on the axis."""
        return self.offset + seconds * _MILLI


def drawn(curve: Curve, windows: Sequence[Window], marks: Sequence[Mark], limits: Sequence[float]) -> dict[str, Any]:
    """Return the plot for the page's script: Bokeh's own description, the axis offset, and the names of the marks."""
    plot = figure(
        height=_HEIGHT,
        sizing_mode="stretch_width",
        x_axis_type="datetime",
        tools="xpan,xwheel_zoom,box_zoom,xzoom_in,xzoom_out,reset",
        active_drag="box_zoom",
        toolbar_location="above",
        output_backend="canvas",
    )
    _style(plot, curve)
    if curve.t:
        plot.x_range = Range1d(curve.at(curve.t[0]), curve.at(curve.t[-1]))
    for value in limits:
        plot.add_layout(Span(location=value, dimension="width", line_color=RULE, line_dash="dashed", line_width=1))
    for window in windows:
        _add_window(plot, curve, window)
    for mark in marks:
        _add_mark(plot, curve, mark)
    _add_line(plot, curve)
    return {"item": json_item(plot), "offset": curve.offset, "marks": [mark.name for mark in marks]}


def _add_line(plot: Any, curve: Curve) -> None:
    source = ColumnDataSource(
        {
            "x": [curve.at(t) for t in curve.t],
            "y": list(curve.p),
            "into": [span_text(t) for t in curve.t],
        }
    )
    line = plot.line("x", "y", source=source, line_color=ACCENT, line_width=1.5)
    clock = [("Time", "@x{%H:%M:%S}")] if curve.started_at else []
    shown = [("Pressure", f"@y{{0,0.0}} {curve.unit}"), *clock, ("Into the recording", "@into")]
    plot.add_tools(HoverTool(renderers=[line], mode="vline", tooltips=shown, formatters={"@x": "datetime"}))


def dressed(plot: Any) -> None:
    """Give a plot the look they all share: the page's paper, quiet grid and axes."""
    plot.toolbar.logo = None
    plot.background_fill_color = plot.border_fill_color = SHEET
    plot.outline_line_color = None
    plot.grid.grid_line_color = LINE
    for axis in (*plot.xaxis, *plot.yaxis):
        axis.axis_label_text_color = axis.major_label_text_color = SOFT
        axis.axis_line_color = axis.major_tick_line_color = RULE
        axis.minor_tick_line_color = None
        axis.axis_label_text_font_style = "normal"


def _style(plot: Any, curve: Curve) -> None:
    dressed(plot)
    plot.xaxis.axis_label = "Time on the rig's clock" if curve.started_at else "Time into the recording"
    plot.yaxis.axis_label = f"Pressure, {curve.unit}"
    plot.yaxis.formatter = NumeralTickFormatter(format="0,0")
    scales = ("milliseconds", "seconds", "minsec", "minutes", "hourmin", "hours")
    # Without a clock the axis begins at midnight of nothing, which must not be shown as a day.
    days = "%d %b" if curve.started_at else _CLOCK
    plot.xaxis.formatter = DatetimeTickFormatter(**dict.fromkeys(scales, _CLOCK), days=days)
    plot.xaxis.ticker.desired_num_ticks = _MOST_TICKS


def _add_window(plot: Any, curve: Curve, window: Window) -> None:
    colour = GOOD if window.passes else BAD
    left, right = curve.at(window.start_s), curve.at(window.end_s)
    hatch = {} if window.passes else {"hatch_pattern": "/", "hatch_color": BAD, "hatch_alpha": 0.35, "hatch_scale": 8}
    plot.add_layout(
        BoxAnnotation(
            left=left, right=right, fill_color=colour, fill_alpha=0.12, line_color=colour, level="underlay", **hatch
        )
    )
    plot.add_layout(
        Label(x=left, y=6, y_units="screen", x_offset=4, text=window.words, text_color=colour, text_font_size="12px")
    )


def _add_mark(plot: Any, curve: Curve, mark: Mark) -> None:
    plot.add_layout(
        BoxAnnotation(
            name=mark.name,
            left=curve.at(mark.start_s),
            right=curve.at(mark.end_s),
            editable=True,
            movable="x",
            resizable="x",
            fill_alpha=0.0,
            line_color=INK,
            line_dash="dotted",
            line_width=1.5,
        )
    )
    top = Label(
        x=curve.at(mark.start_s),
        y=_HEIGHT - 110,
        y_units="screen",
        x_offset=4,
        text=mark.words,
        text_color=SOFT,
        text_font_size="12px",
    )
    plot.add_layout(top)


def _windows(verdict: Mapping[str, Any] | None) -> list[Window]:
    """Return the holds of a kept verdict that have a window."""
    found = []
    for phase, title in _TITLES.items():
        hold: HoldContent | Mapping[str, Any] | None = verdict.get(phase) if verdict else None
        if hold and hold["start_s"] is not None and hold["end_s"] is not None:
            words = f"{title}, {'passed' if hold['passes'] else 'not passed'}"
            found.append(Window(hold["start_s"], hold["end_s"], words, hold["passes"]))
    return found


def _curve_of(kept: Mapping[str, Any], rig: Rig, units: System, started_at: str | None) -> Curve:
    unit = pressure_unit(units)
    pressures = [from_si(pascal, unit, Dimension.PRESSURE) for pascal in kept["p"]]
    clock = datetime.fromisoformat(started_at).astimezone(rig.zone) if started_at else None
    return Curve(kept["t"], pressures, unit, clock)


def _limit_lines(limits: Mapping[str, Any], unit: str) -> list[float]:
    low = limits.get("low")
    wanted = [low["min"], low["max"]] if low else []
    wanted += [limits["high"]["target"]] if limits.get("high") else []
    return [_in_unit(one, unit) for one in wanted]


def _in_unit(limit: Mapping[str, Any], unit: str) -> float:
    return from_si(to_si(float(limit["value"]), limit["unit"], Dimension.PRESSURE), unit, Dimension.PRESSURE)


@require_GET
@signed_in
def step_plot(request: HttpRequest, pk: int) -> JsonResponse:
    """Return the curve around a judged step, its windows and its marks."""
    step = records.step_for(request.user, pk)
    visit = Visit.of(request, step.record.rig)
    own = step.recording if step.recording and step.recording.step_id == step.pk else None
    # A file of this step alone is shown whole, so that the marks can be moved over all of it.
    kept = own.curve if own else (step.verdict or {}).get("curve") or {"t": [], "p": []}
    started_at = step.recording.facts.get("started_at") if step.recording else None
    curve = _curve_of(kept, step.record.rig, visit.units, started_at)
    plot = drawn(curve, _windows(step.verdict), _marks([step]), _limit_lines(step.limits, curve.unit))
    return JsonResponse(plot)


def _marks(steps: Sequence[Step]) -> list[Mark]:
    """Return the part judged for each step: as chosen, else the whole of its file."""
    found = []
    for step in steps:
        whole = {"start_s": 0.0, "end_s": step.recording.facts["duration_s"]} if step.recording else None
        marks = step.chosen_marks or whole
        if marks:
            found.append(Mark(f"mark-{step.pk}", marks["start_s"], marks["end_s"], f"Step {step.order}"))
    return found


@require_GET
@signed_in
def recording_plot(request: HttpRequest, pk: int) -> JsonResponse:
    """Return the whole of a recorder file, with the parts judged for each step."""
    recording: Recording = records.recording_for(request.user, pk)
    record = recording.record
    visit = Visit.of(request, record.rig)
    steps = [step for step in records.steps_of(record) if step.recording_id == recording.pk]
    curve = _curve_of(recording.curve, record.rig, visit.units, recording.facts.get("started_at"))
    windows = [window for step in steps for window in _windows(step.verdict)]
    unlabelled = [Window(one.start_s, one.end_s, "", one.passes) for one in windows]
    return JsonResponse(drawn(curve, unlabelled, _marks(steps), []))


@require_GET
@signed_in
def content_plot(request: HttpRequest, pk: int, order: int) -> JsonResponse:
    """Return the curve of a step as it is sealed, or as it would be sealed now."""
    record = records.record_for(request.user, pk)
    visit = Visit.of(request, record.rig)
    content = content_shown(record, visit.at)
    step = next((one for one in content["steps"] if one["order"] == order), None) if content else None
    if step is None or step["curve"] is None:
        return JsonResponse({"error": "There is no curve."}, status=404)
    kept = step["curve"]
    curve = Curve(kept["t"], kept["p"], kept["unit"], _clock_at_zero(step))
    limits = [step["limits"][name] for name in ("low_min", "low_max", "high_target")]
    lines = [_in_unit(one, curve.unit) for one in limits if one is not None]
    return JsonResponse(drawn(curve, _windows(step), [], lines))


def _clock_at_zero(step: Mapping[str, Any]) -> datetime | None:
    """Return the rig's clock at zero seconds of the recording, from a hold whose start is known both ways."""
    for phase in _TITLES:
        hold = step[phase]
        if hold and hold["start_at"] and hold["start_s"] is not None:
            start = datetime.fromisoformat(hold["start_at"]["local"])
            seconds = hold["start_s"]
            return datetime.fromtimestamp(start.timestamp() - seconds, tz=start.tzinfo)
    return None
