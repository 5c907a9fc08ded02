"""When each component's overhaul falls due: from its own last one, so that the work of years can be spread.

Source: 30 CFR 250.739(b), which since 2019 lets each component count from its own last inspection (from memory).
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Final, cast
from zoneinfo import ZoneInfo

from calcs.errors import InputError
from calcs.recurrence import Due, State, Tested, due, localise
from calcs.rules import Edition, StackKind
from calcs.schedule_rules import ScheduledRule, Task, scheduled
from equipment.models import Component, Installation, Rig, ServiceEvent, ServiceKind
from tests_app.models import Completion, What
from tests_app.queries.completed import work_on_components

_OPENED: Final = frozenset({ServiceKind.OVERHAUL, ServiceKind.MAJOR_INSPECTION})
NO_DATE: Final = "No overhaul, inspection, manufacture or installation is on file to count from."


@dataclass(frozen=True)
class PhaseStart:
    """What the years of a component count from.

    Attributes:
        at: the moment; of a day on file, its beginning on the rig's clock.
        words: what it was, in words.
        is_done: whether it was an overhaul, and not only where the years of a component never overhauled begin.
    """

    at: datetime
    words: str
    is_done: bool


def phase_start(
    component: Component,
    *,
    overhauls: Iterable[Completion] = (),
    services: Iterable[ServiceEvent] = (),
    first_installed: datetime | None = None,
    zone: ZoneInfo,
) -> PhaseStart | None:
    """Return what a component's years count from: its last overhaul, else the day it was made, else first installed.

    Overhauls are those entered as work done, service events that say so, and the last major inspection on the
    component's page. None where nothing at all is on file.
    """
    done = [PhaseStart(row.concluded_at, "Overhauled", True) for row in overhauls if row.passed]
    done += [PhaseStart(event.at, event.get_kind_display(), True) for event in services if event.kind in _OPENED]
    if component.last_major_inspection_on is not None:
        day = component.last_major_inspection_on
        done.append(PhaseStart(beginning_of(day, zone), "Last major inspection", True))
    if done:
        return max(done, key=lambda start: start.at)
    if component.manufactured_on is not None:
        return PhaseStart(beginning_of(component.manufactured_on, zone), "Never overhauled; made", False)
    if first_installed is not None:
        return PhaseStart(first_installed, "Never overhauled, day of manufacture not on file; first installed", False)
    return None


def beginning_of(day: date, zone: ZoneInfo) -> datetime:
    """Return the first moment of a day on the rig's clock."""
    return localise(datetime.combine(day, time()), zone)


@dataclass(frozen=True)
class Phase:
    """One component and when its overhaul falls due.

    Attributes:
        component: the component.
        installation: where it stands, None for a spare.
        rule: the rule that asks for it.
        start: what it counts from, None where nothing is on file.
        due: when it falls due and how it stands.
    """

    component: Component
    installation: Installation | None
    rule: ScheduledRule
    start: PhaseStart | None
    due: Due

    @property
    def key(self) -> str:
        """Return the key of the obligation: of the installation, or of a spare itself."""
        if self.installation is None:
            return f"{What.OVERHAUL}/component-{self.component.pk}"
        return f"{What.OVERHAUL}/installation-{self.installation.pk}"

    @property
    def due_at(self) -> datetime | None:
        """Return when it falls due; None where nothing is on file to count from."""
        return None if self.start is None else self.due.due_at

    @property
    def state(self) -> State:
        """Return how it stands."""
        return self.due.state


def phases_of(rig: Rig, edition: Edition, *, at: datetime) -> list[Phase]:
    """Return every component of the rig that an overhaul is asked of, the first due first. Four queries."""
    components = list(Component.objects.filter(rig=rig, retired_at__isnull=True))
    placed = _installations(rig)
    services = _services(rig)
    done = work_on_components(rig)
    found = []
    for component in components:
        history = [one for one in placed.get(component.pk, ()) if one.installed_at <= at]
        standing = next((one for one in history if one.removed_at is None or one.removed_at > at), None)
        rule = overhaul_rule(edition, component, standing.position.stack.kind if standing else "surface")
        if rule is None:
            continue
        start = phase_start(
            component,
            overhauls=[row for row in done.get((What.OVERHAUL, component.pk), ()) if row.concluded_at <= at],
            services=[event for event in services.get(component.pk, ()) if event.at <= at],
            first_installed=history[0].installed_at if history else None,
            zone=rig.zone,
        )
        found.append(Phase(component, standing, rule, start, _due(rule, start, at, rig.zone)))
    return sorted(found, key=lambda phase: (phase.due_at is not None, phase.due_at, phase.component.pk))


def overhaul_rule(edition: Edition, component: Component, stack: str) -> ScheduledRule | None:
    """Return the strictest rule of the edition on overhauls of such a component; None where it has none."""
    try:
        choice = scheduled(edition, Task.OVERHAUL, component.kind, stack=cast(StackKind, stack))
    except InputError:
        return None
    return choice.rule


def _due(rule: ScheduledRule, start: PhaseStart | None, at: datetime, zone: ZoneInfo) -> Due:
    assert rule.recurs is not None  # found by its interval
    history = [] if start is None else [Tested(start.at, start.at, True)]
    return due(rule.recurs.interval, rule.recurs.deadline, history, at=at, zone=zone)


def _installations(rig: Rig) -> dict[int, Sequence[Installation]]:
    found: dict[int, list[Installation]] = defaultdict(list)
    rows = Installation.objects.filter(component__rig=rig).select_related("position__stack").order_by("installed_at")
    for row in rows:
        found[row.component_id].append(row)
    return {key: tuple(rows) for key, rows in found.items()}


def _services(rig: Rig) -> dict[int, Sequence[ServiceEvent]]:
    found: dict[int, list[ServiceEvent]] = defaultdict(list)
    for event in ServiceEvent.objects.filter(component__rig=rig, kind__in=_OPENED):
        found[event.component_id].append(event)
    return {key: tuple(rows) for key, rows in found.items()}
