"""The plot of a drawdown as SVG: pressure over fluid drawn, as measured and as three laws of gas predict it.

The laws are told apart by their strokes, the two readings by filled and hollow marks, and each is named where it ends,
so that a grey print reads as well.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from calcs.units import Dimension
from tests_app.documents import figures
from tests_app.documents.content import Quantity
from tests_app.documents.drawdown_content import GAS_LAWS, DrawdownContent, FunctionContent, GasLaw, PredictedCurve
from tests_app.documents.drawing import FONT, INK, SMALL, SOFT, Span, line, text, ticks

WIDTH: Final = 494.0
HEIGHT: Final = 222.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 36.0, 352.0, 15.0, 194.0
_LABELS: Final = 372.0
_LABEL_GAP: Final = 9.4
_DIGIT: Final = 3.8
_DRAW: Final = {"cold": "", "warm": ' stroke-dasharray="6 2.6"', "ideal": ' stroke-dasharray="1 2.2"'}
LAW_WORDS: Final[dict[GasLaw, str]] = {
    "cold": "Nitrogen let out at once",
    "warm": "Nitrogen, settled",
    "ideal": "Ideal gas, settled",
}


@dataclass(frozen=True, slots=True)
class Place:
    """The axes: what they show, and where a figure stands on the sheet."""

    volumes: Span
    pressures: Span

    def x(self, drawn: float) -> float:
        """Return where a volume stands."""
        return _LEFT + (drawn - self.volumes.low) / self.volumes.length * (_RIGHT - _LEFT)

    def y(self, pressure: float) -> float:
        """Return where a pressure stands."""
        return _BOTTOM - (pressure - self.pressures.low) / self.pressures.length * (_BOTTOM - _TOP)


@dataclass(frozen=True, slots=True)
class Point:
    """A reading after a function, in the units of the plot; the start has no number."""

    number: int | None
    drawn: float
    pressure: float


@dataclass(frozen=True, slots=True)
class Label:
    """A name beside the end of what it names."""

    x: float
    y: float
    words: str
    heavy: bool = False


def drawdown_plot(content: DrawdownContent) -> str:
    """Return the SVG; an empty text where no start pressure or no function was entered."""
    if content["heading"]["start_pressure"] is None or not content["functions"]:
        return ""
    body = "".join(_drawn(content))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" width="{WIDTH:g}pt" '
        f'height="{HEIGHT:g}pt" font-family="{FONT}" font-size="{SMALL}" fill="{INK}">{body}</svg>'
    )


def description(content: DrawdownContent) -> str:
    """Return the plot in words, for those who can't see it."""
    if not content["functions"]:
        return ""
    unit = content["curves"]["pressure_unit"]
    last = content["functions"][-1]
    read = [
        f"{words} {figures.gauge(pressure, unit)} {unit}"
        for pressure, words in (
            (last["pressure_at_once"], "read at once"),
            (last["pressure_settled"], "read after the wait"),
        )
        if pressure is not None
    ]
    predicted = [
        f"{LAW_WORDS[law].lower()} {figures.whole(last[law], unit)} {unit}" for law in GAS_LAWS if last[law] is not None
    ]
    limit = content["verdict"]["limit"]
    least = f" The limit is {figures.worked_out(limit, unit)} {unit}." if limit is not None else ""
    measured = ", ".join(read) or "no pressure was read"
    return f"Pressure over fluid drawn. After the last function: {measured}. Predicted: {', '.join(predicted)}.{least}"


def points_of(content: DrawdownContent, key: str) -> list[Point]:
    """Return the readings of one state of the gas, the start first; nothing where none was read."""
    unit, volume = content["curves"]["pressure_unit"], content["curves"]["volume_unit"]
    read = [
        Point(one["order"], figures.in_unit(one["drawn"], volume, Dimension.VOLUME), figures.in_unit(pressure, unit))
        for one in content["functions"]
        if (pressure := _reading(one, key)) is not None
    ]
    start = content["heading"]["start_pressure"]
    return [Point(None, 0.0, figures.in_unit(start, unit)), *read] if read and start is not None else read


def _reading(one: FunctionContent, key: str) -> Quantity | None:
    return one["pressure_settled"] if key == "pressure_settled" else one["pressure_at_once"]


def _drawn(content: DrawdownContent) -> Iterator[str]:
    unit = content["curves"]["pressure_unit"]
    at_once, settled = points_of(content, "pressure_at_once"), points_of(content, "pressure_settled")
    place = _place(content, [*at_once, *settled])
    yield from _axes(place, content["curves"]["volume_unit"], unit)
    labels = []
    for law in GAS_LAWS:
        curve = content["curves"][law]
        if curve["drawn"]:
            yield _curve(place, curve, law)
            labels.append(_end_of(place, curve, law))
    yield from _minimums(place, content)
    limit = content["verdict"]["limit"]
    if limit is not None:
        least = figures.in_unit(limit, unit)
        yield _limit(place, least)
        labels.append(Label(_RIGHT, place.y(least), f"Limit {figures.worked_out(limit, unit)}", heavy=True))
    judged_settled = content["heading"]["judged"]["key"] == "settled"
    yield from _marks(place, settled, hollow=True, numbered=judged_settled)
    yield from _marks(place, at_once, hollow=False, numbered=not judged_settled)
    for points, words in ((at_once, "Read at once"), (settled, "Read after the wait")):
        if points:
            last = points[-1]
            shown = figures.number_text(round(last.pressure, figures.JUDGED_PLACES[unit]))
            labels.append(Label(place.x(last.drawn) + 3, place.y(last.pressure), f"{words} {shown}", heavy=True))
    yield from _named(labels)


def _place(content: DrawdownContent, points: Sequence[Point]) -> Place:
    unit, volume = content["curves"]["pressure_unit"], content["curves"]["volume_unit"]
    shown = [one.pressure for one in points]
    for law in GAS_LAWS:
        shown += content["curves"][law]["pressure"]
    limit = content["verdict"]["limit"]
    shown += [figures.in_unit(limit, unit)] if limit is not None else []
    shown += [figures.in_unit(one["minimum_pressure"], unit) for one in content["functions"] if one["minimum_pressure"]]
    last = figures.in_unit(content["functions"][-1]["drawn"], volume, Dimension.VOLUME)
    reach = Span(min(shown, default=0.0), max(shown, default=1.0))
    return Place(
        Span(0.0, last * 1.02), Span(max(0.0, reach.low - 0.09 * reach.length), reach.high + 0.04 * reach.length)
    )


def _axes(place: Place, volume: str, unit: str) -> Iterator[str]:
    yield line(_LEFT, _BOTTOM, _RIGHT, _BOTTOM, SOFT, 0.6)
    yield line(_LEFT, _TOP, _LEFT, _BOTTOM, SOFT, 0.6)
    for value in ticks(place.pressures, 5):
        y = place.y(value)
        yield line(_LEFT, y, _RIGHT, y, "#e4e1d8", 0.4)
        yield line(_LEFT - 2, y, _LEFT, y, SOFT, 0.6)
        yield text(_LEFT - 4, y + 2.1, figures.number_text(value), anchor="end", fill=SOFT)
    for value in ticks(place.volumes, 8):
        x = place.x(value)
        yield line(x, _BOTTOM, x, _BOTTOM + 2, SOFT, 0.6)
        yield text(x, _BOTTOM + 9.5, figures.number_text(value), anchor="middle", fill=SOFT)
    middle = (_LEFT + _RIGHT) / 2
    yield text(
        middle, _BOTTOM + 20, f"fluid drawn from the bank, {figures.unit_label(volume)}", anchor="middle", fill=SOFT
    )
    yield text(0, 6.5, f"pressure, {unit} gauge", fill=SOFT)


def _curve(place: Place, curve: PredictedCurve, law: GasLaw) -> str:
    points = [(place.x(v), place.y(p)) for v, p in zip(curve["drawn"], curve["pressure"], strict=True)]
    path = "L".join(f"{x:.2f} {y:.2f}" for x, y in points)
    return f'<path d="M{path}" stroke="{INK}" stroke-width=".8"{_DRAW[law]} fill="none"/>'


def _end_of(place: Place, curve: PredictedCurve, law: GasLaw) -> Label:
    shown = figures.number_text(round(curve["pressure"][-1]))
    return Label(place.x(curve["drawn"][-1]), place.y(curve["pressure"][-1]), f"{LAW_WORDS[law]} {shown}")


def _limit(place: Place, pressure: float) -> str:
    y = place.y(pressure)
    return (
        f'<path d="M{_LEFT:.2f} {y:.2f}H{_RIGHT:.2f}" stroke="{INK}" stroke-width="1.4" '
        'stroke-dasharray="9 2.4 2 2.4" fill="none"/>'
    )


def _minimums(place: Place, content: DrawdownContent) -> Iterator[str]:
    """Mark what the bank must still stand at after a function by a short bar under its reading."""
    unit, volume = content["curves"]["pressure_unit"], content["curves"]["volume_unit"]
    for one in content["functions"]:
        if one["minimum_pressure"] is not None:
            x = place.x(figures.in_unit(one["drawn"], volume, Dimension.VOLUME))
            y = place.y(figures.in_unit(one["minimum_pressure"], unit))
            yield line(x - 5, y, x + 5, y, INK, 1.6)


def _marks(place: Place, points: Sequence[Point], *, hollow: bool, numbered: bool) -> Iterator[str]:
    for one in points:
        x, y = place.x(one.drawn), place.y(one.pressure)
        if hollow:
            yield f'<path d="M{x - 2.3:.2f} {y - 2.3:.2f}h4.6v4.6h-4.6z" stroke="{INK}" stroke-width=".9" fill="#fff"/>'
        else:
            yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r="2.5" stroke="#fff" stroke-width=".6" fill="{INK}"/>'
        if numbered and one.number is not None:
            yield from _number(x, y, one.number)


def _number(x: float, y: float, number: int) -> Iterator[str]:
    """Write a function's number under its mark, clear of any line that runs there."""
    words = str(number)
    width = _DIGIT * len(words)
    right, base = x - 2.2, y + 8.2
    yield f'<path d="M{right - width:.2f} {base - 5:.2f}h{width:.2f}v5.6h-{width:.2f}z" fill="#fff"/>'
    yield text(right, base, words, anchor="end", weight=700)


def _named(labels: Sequence[Label]) -> Iterator[str]:
    """Write each name beside the end of what it names, pushed apart where they would touch."""
    heights: list[float] = []
    for one in sorted(labels, key=lambda label: label.y):
        heights.append(max(one.y, heights[-1] + _LABEL_GAP) if heights else max(one.y, _TOP + 2 + _LABEL_GAP))
    over = max(0.0, heights[-1] - _BOTTOM) if heights else 0.0
    heights = _pushed_up(heights, over)
    for one, y in zip(sorted(labels, key=lambda label: label.y), heights, strict=True):
        yield line(one.x + 1.5, one.y, _LABELS - 6, y, SOFT, 0.4)
        yield line(_LABELS - 6, y, _LABELS + 3, y, SOFT, 0.4)
        yield text(_LABELS + 6, y + 2.1, one.words, weight=700 if one.heavy else 400)


def _pushed_up(heights: list[float], over: float) -> list[float]:
    """Return the heights with the last ones moved up so that none stands under the axis."""
    if not over:
        return heights
    moved = list(heights)
    moved[-1] -= over
    for index in range(len(moved) - 2, -1, -1):
        moved[index] = min(moved[index], moved[index + 1] - _LABEL_GAP)
    return moved
