"""A pressure curve as it stands before, or without, the script that draws it to be zoomed: small, and on the page."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from calcs.units import Dimension, System, from_si
from tests_app.web.times import span_text
from tests_app.web.verdict_view import pressure_unit

WIDTH, HEIGHT = 1000.0, 300.0
_BUCKETS: Final = 150
"""Of each the lowest and the highest sample are drawn: no peak is lost."""


def still_plot(curve: Mapping[str, Any] | None, holds: Sequence[Mapping[str, Any] | None], units: System) -> SafeString:
    """Return the curve (pressures in its own ``unit``, else gauge Pa) with its judged holds; "" without a curve."""
    if not curve or len(curve["t"]) < 2:
        return SafeString("")
    times = np.asarray(curve["t"], dtype=float)
    pressures = np.asarray(curve["p"], dtype=float)
    top = max(float(pressures.max()), 1e-9) * 1.05
    left, span = float(times[0]), max(float(times[-1] - times[0]), 1e-9)

    def x(seconds: float) -> float:
        return min(max((seconds - left) / span, 0.0), 1.0) * WIDTH

    kept = _kept(pressures)
    points = " ".join(f"{x(times[at]):.1f},{HEIGHT * (1 - max(pressures[at], 0.0) / top):.1f}" for at in kept)
    held = [hold for hold in holds if hold and hold.get("start_s") is not None and hold.get("end_s") is not None]
    boxes = format_html_join(
        "",
        '<rect class="still-hold tone-{}" x="{}" y="0" width="{}" height="{}"/>',
        (_box(hold, x) for hold in held),
    )
    said = _said(curve, float(pressures.min()), float(pressures.max()), span, units)
    return format_html(
        '<svg class="still" viewBox="0 0 {} {}" preserveAspectRatio="none" role="img" aria-label="{}">{}'
        '<polyline points="{}"/></svg><p class="small soft">{}</p>',
        WIDTH,
        HEIGHT,
        said,
        boxes,
        points,
        said,
    )


def _box(hold: Mapping[str, Any], x: Any) -> tuple[str, str, str, float]:
    begin, end = x(hold["start_s"]), x(hold["end_s"])
    return "good" if hold["passes"] else "bad", f"{begin:.1f}", f"{max(end - begin, 1.0):.1f}", HEIGHT


def _kept(pressures: Any) -> list[int]:
    if len(pressures) <= 2 * _BUCKETS:
        return list(range(len(pressures)))
    kept = {0, len(pressures) - 1}
    for part in np.array_split(np.arange(len(pressures)), _BUCKETS):
        kept |= {int(part[np.argmin(pressures[part])]), int(part[np.argmax(pressures[part])])}
    return sorted(kept)


def _said(curve: Mapping[str, Any], lowest: float, highest: float, span: float, units: System) -> str:
    unit = curve.get("unit") or pressure_unit(units)
    low, high = (
        pressure if curve.get("unit") else from_si(pressure, unit, Dimension.PRESSURE) for pressure in (lowest, highest)
    )
    return f"{low:,.0f} to {high:,.0f} {unit} over {span_text(span)}."
