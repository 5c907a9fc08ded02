"""What the tests of an invented rig are made of: its steps, and what the rules ask of each element, worked out once.

Rigs of one design are asked for the same, so that the rules are gone through a few dozen times and not once a line.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from math import ceil
from typing import Any, Final

from calcs.errors import InputError
from calcs.recurrence import IntervalUnit
from calcs.rules import Occasion
from calcs.units import Dimension
from equipment.errors import Refused
from equipment.models import HoleSection, Measured
from equipment.queries.stacks import Standing
from tests_app.management.fleet.designs import LINE_UPS, SHEAR_LINE_UP
from tests_app.management.fleet.phrases import plain
from tests_app.management.fleet.site import Site
from tests_app.models import Barrier
from tests_app.queries.copies import in_round_unit
from tests_app.queries.limits import limits_of
from tests_app.queries.requirements import Circumstances, Need, choice_for, default_side, required_for

LARGEST_STEP: Final = 8
"""Elements a step proves at most."""
SHEAR_KIND: Final = "blind-shear-ram"


@dataclass(frozen=True)
class PlannedLine:
    """What one element must show; `place` counts the positions of the stack from 0."""

    place: int
    side: str
    low_min: Measured
    low_max: Measured
    high: Measured
    hold_seconds: int
    clause: str
    working: list[str]
    rules: list[dict[str, str]]


@dataclass(frozen=True)
class PlannedStep:
    """One line-up with the limits it is held to."""

    name: str
    limits: dict[str, Any]
    lines: tuple[PlannedLine, ...]


@dataclass
class Plans:
    """The plans made so far, for every rig of the fleet."""

    _made: dict[tuple[str, str, str, int], tuple[PlannedStep, ...]] = field(default_factory=dict)
    _days: dict[tuple[str, str], int] = field(default_factory=dict)

    def steps(self, site: Site, line_up: str, occasion: Occasion, section: HoleSection | None) -> Sequence[PlannedStep]:
        """Return the steps of a line-up's test on this rig; empty where the rules ask for none of it."""
        key = (site.design.name, line_up, occasion, section.order if section else 0)
        if key not in self._made:
            under = _under(site, occasion, section)
            needs = [need for one in _elements(site, line_up) if (need := _need(one, under)) is not None]
            self._made[key] = tuple(_steps(site, needs))
        return self._made[key]

    def days(self, site: Site, line_up: str) -> int:
        """Return how many days pass between tests of a line-up: what its shortest-lived element stays in date for."""
        key = (site.design.name, line_up)
        if key not in self._days:
            under = _under(site, Occasion.INTERVAL, site.sections[0])
            found = [days for one in _elements(site, line_up) if (days := _lasts(one, under)) is not None]
            own = site.design.every_days
            self._days[key] = min([*found, *([] if line_up == SHEAR_LINE_UP else [own])], default=own)
        return self._days[key]


def _under(site: Site, occasion: Occasion, section: HoleSection | None) -> Circumstances:
    return Circumstances(
        edition=site.edition,
        stack=site.stack,
        standings=site.standings(),
        section=section,
        barrier=Barrier.PLUG,
        occasion=occasion,
        recorded=False,
    )


def _elements(site: Site, line_up: str) -> list[Standing]:
    """Return what a line-up tests."""
    return [one for one in site.standings() if _line_up_of(one) == line_up]


def _line_up_of(standing: Standing) -> str:
    if standing.position.kind == SHEAR_KIND:
        return SHEAR_LINE_UP
    return next((name for name, groups in LINE_UPS.items() if standing.position.group in groups), "")


def _need(standing: Standing, under: Circumstances) -> Need | None:
    """Return what an element must show; None where the rules ask for no test of it."""
    try:
        return required_for(standing, default_side(standing.position.kind), under=under)
    except Refused:
        return None


def _lasts(standing: Standing, under: Circumstances) -> int | None:
    try:
        recurs = choice_for(standing, default_side(standing.position.kind), under=under).recurrence
    except InputError:
        return None
    return recurs.interval.count if recurs is not None and recurs.interval.unit is IntervalUnit.DAYS else None


def _steps(site: Site, needs: Iterable[Need]) -> Iterable[PlannedStep]:
    """Put elements that one hold can prove together into one step."""
    together: list[list[Need]] = []
    for need in needs:
        room = next((held for held in together if len(held) < LARGEST_STEP and _one_hold([*held, need])), None)
        if room is None:
            together.append([need])
        else:
            room.append(need)
    places = {position.pk: place for place, position in enumerate(site.positions)}
    for number, held in enumerate(together, start=1):
        name = f"Line-up {number}, {held[0].standing.position.name}"[:80]
        lines = tuple(_line(need, places[need.standing.position.pk]) for need in held)
        yield PlannedStep(name, plain(limits_of(held)), lines)


def _one_hold(needs: Sequence[Need]) -> bool:
    try:
        limits_of(needs)
    except Refused:
        return False
    return True


def _line(need: Need, place: int) -> PlannedLine:
    required, component = need.required, need.standing.component
    assert required.low is not None
    assert component is not None
    own = component.rated_working_pressure.unit
    return PlannedLine(
        place=place,
        side=need.pressure_from,
        low_min=_written(required.low.min_gauge, own),
        low_max=_written(required.low.max_gauge, own),
        high=_written(required.high_gauge, own),
        hold_seconds=ceil(required.hold),
        clause=required.clause[:160],
        working=list(need.working),
        rules=list(need.rules),
    )


@cache
def _written(pressure: float, own_unit: str) -> Measured:
    limit = in_round_unit(pressure, Dimension.PRESSURE, "psi", own_unit, "kPa")
    return Measured.of(limit, Dimension.PRESSURE, field="required")
