"""Planning ahead for a rig: what runs out when, and the days of testing that keep everything in date.

The plan itself is `calcs.windows`; here the rig's obligations become its items, and its windows get their names back.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from calcs import windows
from calcs.recurrence import Deadline, Interval, State
from calcs.schedule_rules import ScheduledRule, Task, stated
from calcs.windows import Group, Opportunity, Renewal, Window
from equipment.models import Rig
from equipment.models import Stack as BopStack
from tests_app import rulebook
from tests_app.durations import Durations, Together
from tests_app.models import Obligation, What
from tests_app.queries.due_items import NOT_PASSED, DueItem, pressing
from tests_app.queries.due_list import rows_at
from tests_app.queries.functioned import CLOSED_FROM_A_STATION
from tests_app.queries.obligations import stand

_PLANNED_IN_TIME: Final = frozenset({State.IN_DATE, State.DUE_SOON})
NOT_KNOWN: Final = "It cannot be worked out when it is due."
OUT_OF_SERVICE: Final = "Out of service: it is tested before it is used again."
EVERY_DAY: Final = "It is made every day: no window is planned for it."
NO_DATE: Final = "No date calls for it, only events."
TOO_SHORT: Final = "A test of it does not last until the next day, so it cannot be planned by days."


@dataclass(frozen=True, slots=True)
class Outstanding:
    """An obligation with how it stands at the moment of planning, and the keys of those whose test renews it too."""

    obligation: Obligation
    item: DueItem
    renewed_by: tuple[str, ...] = ()

    @property
    def interval(self) -> Interval | None:
        """Return how long a test lasts; None where no interval governs it."""
        return Interval.parse(self.obligation.interval) if self.obligation.interval else None

    @property
    def is_owed_now(self) -> bool:
        """Tell whether it is overdue, owed at once, being tested or not passed: no day ahead is left for it."""
        due = self.item.due
        in_time = due is not None and due.state in _PLANNED_IN_TIME and self.item.state != NOT_PASSED
        return not in_time

    @property
    def why_not_planned(self) -> str:
        """Return why a plan can't hold it, in words; empty where it can."""
        due = self.item.due
        if self.item.error or due is None:
            return NOT_KNOWN
        if due.state is State.OUT_OF_SERVICE:
            return OUT_OF_SERVICE
        if self.interval is not None and self.interval.roughly_days <= 1:
            return EVERY_DAY
        return NO_DATE if due.due_at is None and not self.is_owed_now else ""


@dataclass(frozen=True, slots=True)
class Estimate:
    """The minutes a plan reckons with: of each kind of test, and of setting up for each group."""

    minutes: Mapping[str, float]
    set_up: Mapping[str, float]

    @classmethod
    def of(cls, durations: Durations) -> "Estimate":
        """Return the figures as shipped."""
        return cls(
            {what: minutes for one in durations.together for what, minutes in one.minutes.items()},
            {one.key: one.set_up for one in durations.together},
        )


@dataclass(frozen=True, slots=True)
class PlannedTest:
    """One test of a window."""

    outstanding: Outstanding
    renewal: Renewal


@dataclass(frozen=True, slots=True)
class PlannedWindow:
    """A window with what it tests, the first to run out first."""

    window: Window
    together: Together
    stack: BopStack | None
    tests: tuple[PlannedTest, ...]

    @property
    def title(self) -> str:
        """Return what it is, with the stack where the rig has several."""
        return f"{self.together.title}, {self.stack.name}" if self.stack else self.together.title


@dataclass(frozen=True, slots=True)
class Ahead:
    """What lies ahead of a rig.

    Attributes:
        windows: the days of testing proposed, by day.
        running_out: what runs out before the days are over if nothing is tested, what is owed now first.
        not_planned: what no plan can hold, with why.
        minutes: of all windows together.
    """

    windows: tuple[PlannedWindow, ...]
    running_out: tuple[Outstanding, ...]
    not_planned: tuple[tuple[Outstanding, str], ...]
    minutes: float


@dataclass
class _Groups:
    """The groups of a rig's plan: what is tested together, on each stack for itself where that is so."""

    durations: Durations
    found: dict[str, tuple[Together, BopStack | None]] = field(default_factory=dict)

    def key_of(self, obligation: Obligation) -> str:
        together = self.durations.of(obligation.what)
        stack = obligation.stack if together.per_stack else None
        key = f"{together.key}-{stack.pk}" if stack else together.key
        self.found.setdefault(key, (together, stack))
        return key

    @property
    def stacks(self) -> set[int]:
        """The stacks planned for: one alone needs no name."""
        return {stack.pk for _, stack in self.found.values() if stack is not None}

    def in_order(self, set_up: Mapping[str, float]) -> list[Group]:
        order = [one.key for one in self.durations.together]
        keys = sorted(self.found, key=lambda key: (order.index(self.found[key][0].key), key))
        return [Group(key, set_up[self.found[key][0].key]) for key in keys]


def plan_ahead(
    rig: Rig,
    outstanding: Sequence[Outstanding],
    *,
    at: datetime,
    days: int,
    durations: Durations,
    estimate: Estimate,
    opportunities: Iterable[Opportunity] = (),
) -> Ahead:
    """Return what lies ahead of a rig, today and the days after it, `days` in all. No query.

    Raises InputError for a number of days no plan looks ahead.
    """
    groups = _Groups(durations)
    planned = {one.obligation.key: one for one in outstanding if not one.why_not_planned}
    items = [_item(one, groups, estimate) for one in planned.values()]
    set_up = groups.in_order(estimate.set_up)
    plan = windows.propose(items, set_up, at=at, days=days, zone=rig.zone, opportunities=opportunities)
    left_out = [(one, one.why_not_planned) for one in outstanding if one.why_not_planned]
    left_out += [(planned[key], TOO_SHORT) for key in plan.too_short]
    end = windows.end_of(at, days, rig.zone)
    running_out = [one for one in planned.values() if one.is_owed_now or _limit(one) < end]
    return Ahead(
        windows=tuple(_named(window, groups, planned) for window in plan.windows),
        running_out=tuple(sorted(running_out, key=lambda one: (not one.is_owed_now, _limit(one)))),
        not_planned=tuple(left_out),
        minutes=plan.minutes,
    )


def _item(one: Outstanding, groups: _Groups, estimate: Estimate) -> windows.Item:
    obligation, due = one.obligation, one.item.due
    assert due is not None  # what can't be worked out is not planned
    return windows.Item(
        key=obligation.key,
        group=groups.key_of(obligation),
        due_at=None if one.is_owed_now else due.due_at,
        interval=one.interval,
        deadline=Deadline(obligation.deadline) if obligation.deadline else Deadline.MIDNIGHT,
        minutes=estimate.minutes[obligation.what],
        renewed_by=one.renewed_by,
    )


def _limit(one: Outstanding) -> datetime:
    assert one.item.due is not None
    return one.item.due.due_at or one.obligation.worked_at


def _named(window: Window, groups: _Groups, planned: Mapping[str, Outstanding]) -> PlannedWindow:
    together, stack = groups.found[window.group]
    stack = stack if len(groups.stacks) > 1 else None
    tests = [PlannedTest(planned[renewal.key], renewal) for renewal in window.renewals]
    return PlannedWindow(window, together, stack, tuple(sorted(tests, key=_first_to_run_out)))


def _first_to_run_out(test: PlannedTest) -> tuple[bool, object, str]:
    until = test.renewal.good_until
    return until is not None, until or 0, test.outstanding.obligation.subject


def outstanding_on(rig: Rig, *, at: datetime) -> list[Outstanding]:
    """Return every obligation of a rig with how it stands, the most pressing first. A constant number of queries."""
    found = rows_at(rig, at=at)
    credited = _credited(found)
    rows = [Outstanding(row, stand(row, at), _renewed_by(row, credited)) for row in found]
    return sorted(rows, key=lambda one: pressing(one.item))


def _credited(rows: Iterable[Obligation]) -> frozenset[tuple[str, str]]:
    """Return the edition and id of every rule by which a pressure test counts for what it closed. One query at most."""
    editions = rulebook.editions_named({row.edition for row in rows if row.what == What.FUNCTION})
    rules = ((name, rule) for name, edition in editions.items() for rule in stated(ScheduledRule, (edition,)))
    return frozenset((name, rule.id) for name, rule in rules if Task.PRESSURE in rule.renewed_by)


def _renewed_by(row: Obligation, credited: frozenset[tuple[str, str]]) -> tuple[str, ...]:
    """Return the key of the pressure test that closes it from a station, where its rule lets that count."""
    if row.what != What.FUNCTION or row.component is None or row.installation_id is None:
        return ()
    counts = (row.edition, row.rule_id) in credited and row.component.kind in CLOSED_FROM_A_STATION
    return (f"{What.PRESSURE.value}/installation-{row.installation_id}",) if counts else ()
