"""The history of an invented rig: rounds of tests, some late, some failed; repairs, changed parts, new sections."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from calcs.rules import Occasion
from equipment.models import ServiceEvent
from tests_app.management.fleet.designs import LINE_UPS, SHEAR_LINE_UP
from tests_app.management.fleet.founding import WRITER, installed, told
from tests_app.management.fleet.plans import PlannedStep, Plans
from tests_app.management.fleet.site import Site
from tests_app.models import TestReason

LATE: Final = 0.03
"""Share of rounds begun after their deadline."""
LAGS: Final = 0.06
"""Share of line-ups that are overdue when the history ends."""
FAILS: Final = 0.05
"""Share of tests in which a step fails first and is repeated."""
STAYS_FAILED: Final = 0.008
"""Share of tests that leave a step failed: it is repaired and tested by itself."""
SERVICED: Final = 0.03
"""Share of rounds before which an element was taken apart and put together again."""
SWAPPED: Final = 0.06
"""Share of rounds before which a component was changed for one from the store."""
NEW_SECTION: Final = timedelta(days=3)
A_STEP: Final = timedelta(minutes=25)
REPAIR: Final = timedelta(hours=20)
SECONDS_APART: Final = timedelta(hours=30)


@dataclass(frozen=True)
class Test:
    """One test as it went: its steps, which of them fails at first, and whether it is repeated with success."""

    __test__ = False

    started_at: datetime
    line_up: str
    reason: str
    steps: tuple[PlannedStep, ...]
    fails: int | None = None
    repeated: bool = True

    @property
    def concluded_at(self) -> datetime:
        """Return when the last hold was over."""
        return self.started_at + A_STEP * (len(self.steps) + (1 if self.fails is not None and self.repeated else 0))

    @property
    def lines(self) -> int:
        """Return how many lines it has, with those repeated."""
        repeated = len(self.steps[self.fails].lines) if self.fails is not None and self.repeated else 0
        return sum(len(step.lines) for step in self.steps) + repeated


def history(site: Site, plans: Plans) -> Iterator[Test]:
    """Return the rig's tests in the order they were begun; what is repaired or changed between them is put on file."""
    moments = sorted((at, line_up) for line_up in (*LINE_UPS, SHEAR_LINE_UP) for at in _moments(site, plans, line_up))
    first: set[str] = set()
    free_at = site.founded_at
    for planned_at, line_up in moments:
        at = max(planned_at, free_at)
        occasion, reason = _occasion(site, at, is_first=line_up not in first)
        section = site.section_at(at)
        steps = tuple(plans.steps(site, line_up, occasion, section))
        steps = steps or tuple(plans.steps(site, line_up, Occasion.INTERVAL, section))
        if not steps:
            continue
        first.add(line_up)
        _before(site, steps, at)
        test = _test(site, at, line_up, reason, steps)
        if test.concluded_at + timedelta(hours=2) > site.until:
            continue
        yield test
        free_at = test.concluded_at + A_STEP
        if test.fails is not None and not test.repeated:
            again = _after_repair(site, test)
            if again.concluded_at + timedelta(hours=2) <= site.until:
                yield again
                free_at = again.concluded_at + A_STEP


def _moments(site: Site, plans: Plans, line_up: str) -> Iterator[datetime]:
    chance, days = site.chance, plans.days(site, line_up)
    ends = site.until - timedelta(days=days + chance.randrange(1, 9)) if chance.random() < LAGS else site.until
    at = site.founded_at + timedelta(hours=chance.randrange(30, 60))
    while at < ends:
        yield at
        between = days + chance.randint(1, 4) if chance.random() < LATE else days - chance.choice((0, 0, 1, 1, 2, 3))
        at += timedelta(days=between, minutes=-30 * chance.randrange(12))


def _occasion(site: Site, at: datetime, *, is_first: bool) -> tuple[Occasion, str]:
    if is_first:
        return Occasion.INSTALLED, TestReason.INSTALLATION
    section = site.section_at(at)
    if section is not None and section.begins_at is not None and at - section.begins_at < NEW_SECTION:
        return Occasion.BEFORE_DRILL_OUT, TestReason.BEFORE_DRILLING_OUT
    return Occasion.INTERVAL, TestReason.INTERVAL


def _test(site: Site, at: datetime, line_up: str, reason: str, steps: tuple[PlannedStep, ...]) -> Test:
    drawn = site.chance.random()
    if drawn >= FAILS:
        return Test(at, line_up, reason, steps)
    return Test(at, line_up, reason, steps, site.chance.randrange(len(steps)), repeated=drawn >= STAYS_FAILED)


def _before(site: Site, steps: tuple[PlannedStep, ...], at: datetime) -> None:
    """Have an element serviced, or changed for a spare, in the hours before a round."""
    place = site.chance.choice(site.chance.choice(steps).lines).place
    drawn = site.chance.random()
    if drawn < SERVICED:
        _serve(site, place, "elastomer-change", at - timedelta(hours=3))
    elif drawn < SERVICED + SWAPPED:
        _swap(site, place, at - timedelta(hours=5))


def _serve(site: Site, place: int, kind: str, at: datetime) -> None:
    component = site.standing[place].component
    row = ServiceEvent(component=component, kind=kind, at=at, description="Invented work.", recorded_by=WRITER)
    told(site, "service.recorded", site.shelf.put(row), at)


def _swap(site: Site, place: int, at: datetime) -> None:
    """Change a component for one of its kind from the store; what came out lies there from then on."""
    standing = site.standing[place]
    spare = next((one for one in site.spares if one.kind == standing.component.kind), None)
    if spare is None or standing.installed_at >= at:
        return
    standing.removed_at, standing.removal_reason = at, "Changed for the spare."
    told(site, "component.removed", standing, at)
    site.spares.remove(spare)
    site.spares.append(standing.component)
    site.standing[place] = installed(site, spare, site.positions[place], at + timedelta(minutes=40))


def _after_repair(site: Site, failed: Test) -> Test:
    """Repair the first element of the step that stayed failed; returns the test of that step by itself."""
    assert failed.fails is not None
    step = failed.steps[failed.fails]
    repaired_at = failed.concluded_at + REPAIR
    _serve(site, step.lines[0].place, "repair", repaired_at)
    return Test(repaired_at + timedelta(hours=2), failed.line_up, TestReason.AFTER_REPAIR, (step,))
