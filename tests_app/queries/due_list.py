"""What is due on a rig: for what stands in it, the last passing test and the moment the next must have begun.

Worked out afresh from what happened; nothing of it is stored. A row that can't be worked out is shown as
worse than overdue, with the reason, and does not stop the others.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from calcs import recurrence
from calcs.errors import InputError
from calcs.recurrence import Event, EventKind, Happened, Tested
from calcs.rules import Edition, Occasion, PressureRule, Recurrence
from equipment.errors import Refused
from equipment.models import NOT_PRESSURE_TESTED, Component, HoleSection, Installation, Rig, ServiceEvent
from equipment.queries.stacks import Standing, standing_at
from equipment.queries.wells import section_drilled
from tests_app.errors import NoRules
from tests_app.models import Barrier, Line, Outcome, Record
from tests_app.queries.bank_dues import bank_items
from tests_app.queries.corrections import is_corrected
from tests_app.queries.due_items import FORGOTTEN_AFTER, DueItem, concluded, is_being_tested, pressing
from tests_app.queries.records import final_lines
from tests_app.queries.requirements import Circumstances, choice_for, default_side, edition_of, required_for
from tests_app.queries.servicing import as_event
from tests_app.queries.still_enough import ROUNDING, StillEnough


def due_list(rig: Rig, *, at: datetime) -> list[DueItem]:
    """Return what is due on the rig's positions, the most pressing first. A constant number of queries.

    On a rig without rules no test can be worked out, and each says so.
    """
    installed = list(
        Installation.objects.filter(standing_at(at), position__stack__rig=rig)
        .select_related("component", "position__stack__rig", "position__outlet_of")
        .order_by("position__stack", "position__order")
    )
    history = _History.of([one.component for one in installed])
    try:
        edition = edition_of(rig)
    except NoRules as none:
        items = [_without_rules(one, history, none, at) for one in installed if _may_be_tested(one)]
        return sorted([*items, *bank_items(installed, history.services, none, at=at)], key=pressing)
    section = section_drilled(rig, at=at)
    under = {one.position.stack_id: None for one in installed}
    around = {stack: _around(stack, installed, edition, section) for stack in under}
    found = [
        _item(one, history, around[one.position.stack_id], at)
        for one in installed
        if _may_be_tested(one) and _is_ruled(one.component, edition)
    ]
    items = [item for item in found if item is not None]
    return sorted([*items, *bank_items(installed, history.services, edition, at=at)], key=pressing)


def _may_be_tested(installed: Installation) -> bool:
    return installed.component.kind not in NOT_PRESSURE_TESTED


def _without_rules(installed: Installation, history: "_History", none: NoRules, at: datetime) -> DueItem:
    item = DueItem(installed.position, installed.component, installed, error=str(none))
    return _with_records(item, history, at)


def _is_ruled(component: Component, edition: Edition) -> bool:
    """Tell whether the edition speaks of components of this kind at all."""
    return any(not scope.kinds or component.kind in scope.kinds for rule in edition.rules for scope in rule.scopes)


def _around(
    stack_id: int, installed: Sequence[Installation], edition: Edition, section: HoleSection | None
) -> Circumstances:
    """Return the circumstances of the usual test: in the wellhead against a plug, for the section being drilled."""
    here = [one for one in installed if one.position.stack_id == stack_id]
    return Circumstances(
        edition=edition,
        stack=here[0].position.stack,
        standings=tuple(Standing(one.position, one.component, one) for one in here),
        section=section,
        barrier=Barrier.PLUG,
        occasion=Occasion.INTERVAL,
        recorded=False,
    )


_WITH: Final = (
    "step__record__rig",
    "step__record__superseded_by",
    "step__record__supersedes",
    "step__record__section",
    "step__record__pressure_test",
)
_BULKY: Final = (
    "component_as_tested",
    "working",
    "rules",
    "step__limits",
    "step__verdict",
    "step__record__content",
    "step__record__superseded_by__content",
    "step__record__supersedes__content",
)
"""Columns a date does not hang on; years of sealed contents and curves are not read to find one."""


@dataclass(frozen=True)
class _History:
    """Every line and service event of the components asked for, by component."""

    lines: dict[int, list[Line]]
    services: dict[int, list[ServiceEvent]]

    @classmethod
    def of(cls, components: Iterable[Component]) -> "_History":
        keys = [component.pk for component in components]
        lines: dict[int, list[Line]] = defaultdict(list)
        found = Line.objects.filter(component__in=keys, step__record__discarded_at__isnull=True)
        for line in found.select_related(*_WITH).defer(*_BULKY):
            lines[line.component_id].append(line)
        services: dict[int, list[ServiceEvent]] = defaultdict(list)
        for event in ServiceEvent.objects.filter(component__in=keys):
            services[event.component_id].append(event)
        return cls(lines, services)

    def records(self, component: Component) -> list[tuple[Record, list[Line]]]:
        """Return the records that tested a component with its final lines in each, the corrected ones left out."""
        by_record: dict[int, list[Line]] = defaultdict(list)
        for line in self.lines.get(component.pk, ()):
            by_record[line.step.record_id].append(line)
        found = [(lines[0].step.record, final_lines(lines)) for lines in by_record.values()]
        return [(record, lines) for record, lines in found if not is_corrected(record)]


def _item(installed: Installation, history: _History, under: Circumstances, at: datetime) -> DueItem | None:
    """Return the row of one position; None for what the rules exempt from pressure tests."""
    component = installed.component
    item = _with_records(DueItem(installed.position, component, installed), history, at)
    standing = Standing(installed.position, component, installed)
    try:
        choice = choice_for(standing, default_side(component.kind), under=under)
        if choice.exempt is not None:
            return None
        if choice.recurrence is None:
            raise InputError("interval", "The edition gives no interval for it: only events call for its test.")
        return _dated(item, choice.recurrence, history, under, at)
    except (InputError, Refused) as error:
        return replace(item, error=str(error))


def _with_records(item: DueItem, history: _History, at: datetime) -> DueItem:
    sealed = [(r, lines) for r, lines in history.records(item.component) if r.sealed_at and concluded(r) <= at]
    passing = [r for r, lines in sealed if _passes(lines)]
    last = max(passing, key=concluded, default=None)
    failing = [r for r, lines in sealed if not _passes(lines) and (last is None or concluded(r) > concluded(last))]
    drafts = [r for r, _ in history.records(item.component) if is_being_tested(r) and r.started_at <= at]
    return replace(
        item,
        last_record=last,
        last_tested_at=last.concluded_at if last else None,
        failed_record=max(failing, key=concluded, default=None),
        draft=max(drafts, key=lambda record: record.started_at, default=None),
    )


def _passes(lines: Iterable[Line]) -> bool:
    return all(line.outcome == Outcome.PASSED for line in lines)


def _dated(item: DueItem, recurs: Recurrence, history: _History, under: Circumstances, at: datetime) -> DueItem:
    enough = StillEnough(Standing(item.position, item.component, item.installation), under)
    events = [*_events(item, history, at, enough), *_section_events(item, under, at)]
    zone = item.position.stack.rig.zone
    due = recurrence.due(recurs.interval, recurs.deadline, events, at=at, zone=zone)
    lasts_until = recurrence.deadline_after(item.installation.installed_at, recurs.interval, recurs.deadline, zone)
    return replace(
        item,
        due=replace(due, reason=f"{due.reason} {enough.unknown}".strip()),
        clause=recurs.source.clause,
        edition=under.edition.id,
        confidence=recurs.source.confidence.value,
        first_test=_first_test(item, under),
        stood_too_long=at >= lasts_until,
    )


def _first_test(item: DueItem, under: Circumstances) -> str:
    """Return which test is owed first, with its clause: the one on installation, where the rules ask for one."""
    try:
        on_installation = replace(under, occasion=Occasion.INSTALLED)
        standing = Standing(item.position, item.component, item.installation)
        rules = choice_for(standing, default_side(item.component.kind), under=on_installation).pressure_rules
    except InputError:
        return "The first test owed is the one on the interval."
    return f"The first test owed is the one on installation ({_clause_of(rules, Occasion.INSTALLED)})."


def _clause_of(rules: Iterable[PressureRule], occasion: Occasion) -> str:
    """Return the clause by which something that happened calls for a test."""
    clauses = [event.source.clause for rule in rules for event in rule.events if event.occasion == occasion]
    return "; ".join(dict.fromkeys(clauses))


def _events(item: DueItem, history: _History, at: datetime, enough: StillEnough) -> list[Event]:
    events: list[Event] = [Happened(EventKind.INSTALLED, item.installation.installed_at)]
    events += [as_event(work) for work in history.services.get(item.component.pk, ())]
    for record, lines in history.records(item.component):
        held = min((line.required_high.si for line in lines), default=None)
        if record.sealed_at is not None:
            passed = _passes(lines)
            short = enough.shortfall(record, lines) if passed else ""
            events.append(Tested(record.started_at, concluded(record), passed, held, short))
        elif is_being_tested(record) and at - record.started_at <= FORGOTTEN_AFTER:
            events.append(Tested(record.started_at))
    return events


def _section_events(item: DueItem, under: Circumstances, at: datetime) -> list[Event]:
    """Return the section begun, where its approval makes the pressure follow the MASP: a higher one asks for a test.

    Without such an approval the rating decides, whatever the section.
    """
    section = under.section
    if section is None or section.begins_at is None or not section.masp_margin_approval:
        return []
    standing = Standing(item.position, item.component, item.installation)
    need = required_for(standing, default_side(item.component.kind), under=under)
    return [recurrence.Section(section.begins_at, need.required.high_gauge * (1 - ROUNDING))]
