"""What is due on the accumulator banks of a rig: drawdown, pump test, precharge of the bottles, their shell tests.

Drawdown and pump test are those of the main accumulators, by the edition's rules; every bank's bottles are read and
their shells tested. Worked out afresh from what happened, in a constant number of queries.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import Final, cast

from django.db.models import OuterRef, Subquery

from calcs import recurrence
from calcs.bank_rules import DrawdownRule, PrechargeRule, RechargeRule, drawdown_rule, precharge_rule, recharge_rules
from calcs.errors import InputError
from calcs.recurrence import Due, Event, EventKind, Happened, State, Tested, limit_words, localise, moment_words
from calcs.rules import BankRule, Edition, Occasion, StackKind
from equipment.models import (
    Bank,
    BankPurpose,
    Bottle,
    BottleState,
    Installation,
    PrechargeReading,
    ServiceEvent,
    Well,
)
from equipment.queries.banks import judged
from equipment.queries.instruments import SOON
from tests_app.errors import NoRules
from tests_app.models import DrawdownTest, Outcome, PumpTest, Record
from tests_app.queries.corrections import is_corrected
from tests_app.queries.due_items import FORGOTTEN_AFTER, DueItem, What, concluded, is_being_tested
from tests_app.queries.servicing import as_event

OWNERS_SCHEDULE: Final = "The standard leaves the interval to the owner's schedule."
_ROUNDING: Final = 1.0
"""Pa by which a sum's rounding may carry a reading over the edge of its band; no gauge tells it."""
_NAMED: Final = {What.DRAWDOWN: "drawdown", What.PUMP: "pump test"}
_ON: Final = {
    Occasion.INSTALLED: "on installation",
    Occasion.LANDED: "on latch-up",
    Occasion.STUMP: "before deployment",
}
_WITH: Final = ("record__rig", "record__superseded_by", "record__supersedes")
_BULKY: Final = (
    "bank_as_tested",
    "verdict",
    "record__content",
    "record__superseded_by__content",
    "record__supersedes__content",
)
"""Columns a date does not hang on."""

Services = Mapping[int, Sequence[ServiceEvent]]


def bank_items(
    installed: Sequence[Installation], services: Services, edition: Edition | NoRules, *, at: datetime
) -> list[DueItem]:
    """Return what is due on the banks among what is installed; without rules, that it can't be worked out."""
    keys = [one.component_id for one in installed]
    banks = {
        bank.component_id: bank for bank in Bank.objects.filter(component__in=keys).select_related("component__rig")
    }
    if not banks:
        return []
    history = _History.of(banks.values(), at)
    standing = [(one, banks[one.component_id]) for one in installed if one.component_id in banks]
    return [item for one, bank in standing for item in _items(one, bank, history, services, edition, at)]


@dataclass(frozen=True)
class _History:
    """What is known of the banks asked for, by bank."""

    tests: dict[tuple[What, int], list[tuple[Record, str]]]
    bottles: dict[int, list[Bottle]]
    readings: dict[int, PrechargeReading]
    left: dict[int, datetime]
    spudded: datetime | None

    @classmethod
    def of(cls, banks: Iterable[Bank], at: datetime) -> "_History":
        found = list(banks)
        keys = [bank.pk for bank in found]
        tests: dict[tuple[What, int], list[tuple[Record, str]]] = defaultdict(list)
        for what, model in ((What.DRAWDOWN, DrawdownTest), (What.PUMP, PumpTest)):
            rows = model._default_manager.filter(bank__in=keys, record__discarded_at__isnull=True)
            for row in rows.select_related(*_WITH).defer(*_BULKY):
                if not is_corrected(row.record):
                    tests[what, row.bank_id].append((row.record, row.outcome))
        bottles = _bottles(keys, at)
        latest = [pk for one in bottles.values() for bottle in one if (pk := getattr(bottle, "latest_pk", None))]
        rounds = PrechargeReading.objects.filter(pk__in=latest).select_related("check_round")
        readings = {reading.bottle_id: reading for reading in rounds}
        components = [bank.component_id for bank in found]
        before = Installation.objects.filter(component__in=components, removed_at__lte=at).order_by("removed_at")
        left = {one.component_id: one.removed_at for one in before if one.removed_at is not None}
        return cls(tests, bottles, readings, left, _spudded(found[0], at))


def _bottles(keys: Sequence[int], at: datetime) -> dict[int, list[Bottle]]:
    """Return the bottles in service with the key of their latest valid reading as `latest_pk`."""
    valid = PrechargeReading.objects.filter(
        bottle=OuterRef("pk"), corrected_by__isnull=True, check_round__taken_at__lte=at
    )
    newest = valid.order_by("-check_round__taken_at", "-pk").values("pk")[:1]
    serving = Bottle.objects.filter(bank__in=keys, state=BottleState.IN_SERVICE)
    found: dict[int, list[Bottle]] = defaultdict(list)
    for bottle in serving.annotate(latest_pk=Subquery(newest)).order_by("position_number", "pk"):
        found[bottle.bank_id].append(bottle)
    return found


def _spudded(bank: Bank, at: datetime) -> datetime | None:
    """Return the beginning of the day the rig's present well was spudded."""
    rig = bank.component.rig
    day = at.astimezone(rig.zone).date()
    well = Well.objects.filter(rig=rig, spudded_on__lte=day).order_by("spudded_on").last()
    return localise(datetime.combine(well.spudded_on, time()), rig.zone) if well and well.spudded_on else None


def _items(
    installation: Installation,
    bank: Bank,
    history: _History,
    services: Services,
    edition: Edition | NoRules,
    at: datetime,
) -> Iterator[DueItem]:
    plain = DueItem(installation.position, installation.component, installation, bank=bank)
    tested = (What.DRAWDOWN, What.PUMP) if bank.purpose == BankPurpose.MAIN else ()
    ruled = [_with_records(replace(plain, what=what), history, at) for what in tested]
    ruled.append(replace(plain, what=What.PRECHARGE))
    if isinstance(edition, NoRules):
        yield from (replace(item, error=str(edition)) for item in ruled)
    else:
        work = services.get(installation.component_id, ())
        yield from filter(None, (_by_the_rules(item, history, work, edition, at) for item in ruled))
    shells = _shell_item(replace(plain, what=What.SHELL), history.bottles.get(bank.pk, []), at)
    if shells is not None:
        yield shells


def _by_the_rules(
    item: DueItem, history: _History, work: Sequence[ServiceEvent], edition: Edition, at: datetime
) -> DueItem | None:
    """Return the row, or why it can't be worked out; None where the edition has no rule for it."""
    try:
        if item.what is What.PRECHARGE:
            return _read_item(item, history, edition, at)
        return _tested_item(item, history, work, edition, at)
    except InputError as error:
        return replace(item, error=str(error))


# Drawdown and pump test


def _with_records(item: DueItem, history: _History, at: datetime) -> DueItem:
    tests = _tests(item, history)
    sealed = [(record, outcome) for record, outcome in tests if record.sealed_at and concluded(record) <= at]
    passing = [record for record, outcome in sealed if outcome == Outcome.PASSED]
    last = max(passing, key=concluded, default=None)
    failing = [record for record, outcome in sealed if outcome != Outcome.PASSED]
    failed = [record for record in failing if last is None or concluded(record) > concluded(last)]
    drafts = [record for record, _ in tests if is_being_tested(record) and record.started_at <= at]
    return replace(
        item,
        last_record=last,
        last_tested_at=last.concluded_at if last else None,
        failed_record=max(failed, key=concluded, default=None),
        draft=max(drafts, key=lambda record: record.started_at, default=None),
    )


def _tests(item: DueItem, history: _History) -> list[tuple[Record, str]]:
    assert item.bank is not None
    return history.tests.get((item.what, item.bank.pk), [])


def _tested_item(
    item: DueItem, history: _History, work: Sequence[ServiceEvent], edition: Edition, at: datetime
) -> DueItem | None:
    rules = _rules(item, edition)
    if not rules:
        return None
    recurring = [rule.recurs for rule in rules if rule.recurs is not None]
    if not recurring and not any(rule.events for rule in rules):
        return None  # it says how a drawdown is judged, and calls for none
    if not recurring:
        raise InputError("interval", "The edition gives no interval for it: only events call for it.")
    recurs = min(recurring, key=lambda one: one.interval.roughly_days)
    zone = item.position.stack.rig.zone
    events = list(_events(item, history, work, at))
    lasts_until = recurrence.deadline_after(item.installation.installed_at, recurs.interval, recurs.deadline, zone)
    return replace(
        item,
        due=recurrence.due(recurs.interval, recurs.deadline, events, at=at, zone=zone),
        clause=recurs.source.clause,
        edition=edition.id,
        confidence=recurs.source.confidence.value,
        first_test=_first(item.what, rules),
        stood_too_long=at >= lasts_until,
    )


def _rules(item: DueItem, edition: Edition) -> Sequence[DrawdownRule | RechargeRule]:
    stack = cast(StackKind, item.position.stack.kind)
    if item.what is What.PUMP:
        return recharge_rules(edition, stack=stack)
    found = drawdown_rule(edition, stack=stack)
    return () if found is None else (found,)


def _events(item: DueItem, history: _History, work: Sequence[ServiceEvent], at: datetime) -> Iterator[Event]:
    yield Happened(EventKind.INSTALLED, item.installation.installed_at)
    for event in work:
        yield as_event(event)
    for record, outcome in _tests(item, history):
        if record.sealed_at is not None:
            yield Tested(record.started_at, concluded(record), outcome == Outcome.PASSED)
        elif is_being_tested(record) and at - record.started_at <= FORGOTTEN_AFTER:
            yield Tested(record.started_at)


def _first(what: What, rules: Sequence[BankRule]) -> str:
    """Return which first test is owed, with its clause."""
    clauses: dict[str, str] = {}
    for rule in rules:
        for event in rule.events:
            if event.occasion in _ON:
                clauses.setdefault(_ON[event.occasion], event.source.clause)
    if not clauses:
        return f"The first {_NAMED[what]} owed is the one on the interval."
    on = " and ".join(clauses)
    return f"The first {_NAMED[what]} owed is the one {on} ({'; '.join(dict.fromkeys(clauses.values()))})."


# Precharge


def _read_item(item: DueItem, history: _History, edition: Edition, at: datetime) -> DueItem | None:
    """Return the row of the precharge: events call for it, an interval only where the edition has one."""
    bank = item.bank
    assert bank is not None
    rule = precharge_rule(edition, stack=cast(StackKind, item.position.stack.kind))
    serving = history.bottles.get(bank.pk, [])
    if rule is None or not serving:
        return None
    readings = [history.readings.get(bottle.pk) for bottle in serving]
    read_at = [reading.check_round.taken_at for reading in readings if reading is not None]
    oldest = min(read_at) if len(read_at) == len(serving) else None
    source = rule.recurs.source if rule.recurs else rule.events[0].source if rule.events else None
    return replace(
        item,
        last_tested_at=oldest,
        due=_read_due(item, rule, serving, readings, _called_at(item, rule, history), at),
        out_of_tolerance=_out_of_tolerance(bank, rule, serving, readings),
        clause=source.clause if source else rule.clause,
        confidence=(source.confidence if source else rule.confidence).value,
        edition=edition.id,
    )


def _called_at(item: DueItem, rule: PrechargeRule, history: _History) -> tuple[datetime | None, str]:
    """Return since when every bottle has to have been read, and what calls for that, in words.

    Installed: on the day it was installed or on the present well, whichever came later. Before deployment: since the
    bank left where it stood before; None where it stood nowhere yet, and any reading counts.
    """
    occasions = {event.occasion for event in rule.events}
    zone = item.position.stack.rig.zone
    if Occasion.INSTALLED in occasions:
        day = item.installation.installed_at.astimezone(zone).date()
        installed = localise(datetime.combine(day, time()), zone)
        if history.spudded is not None and history.spudded > installed:
            return history.spudded, "since the present well was spudded"
        return installed, "since the bank was installed"
    return history.left.get(item.component.pk), "before the bank was deployed"


def _read_due(
    item: DueItem,
    rule: PrechargeRule,
    serving: Sequence[Bottle],
    readings: Sequence[PrechargeReading | None],
    called: tuple[datetime | None, str],
    at: datetime,
) -> Due:
    since, words = called
    zone = item.position.stack.rig.zone
    missing = [
        bottle
        for bottle, reading in zip(serving, readings, strict=True)
        if reading is None or (since is not None and reading.check_round.taken_at < since)
    ]
    if missing:
        counts_from = since or item.installation.installed_at
        whole = len(missing) == len(serving)
        who = "The bottles were" if whole else f"{_named(missing)} {'were' if len(missing) > 1 else 'was'}"
        reason = f"{who} not read {words}: read the precharge of every bottle in service."
        return Due(counts_from, None, State.DUE_NOW, counts_from, EventKind.INSTALLED, reason)
    oldest = min(reading.check_round.taken_at for reading in readings if reading is not None)
    reason = f"Every bottle in service was read {moment_words(oldest, zone)} or later."
    if rule.recurs is not None:
        tested = [Tested(oldest, oldest, passed=True)]
        found = recurrence.due(rule.recurs.interval, rule.recurs.deadline, tested, at=at, zone=zone)
        return replace(found, reason=f"{reason} {rule.recurs.interval.words} run from there.")
    return Due(None, None, State.IN_DATE, oldest, EventKind.TESTED, f"{reason} {OWNERS_SCHEDULE}")


def _out_of_tolerance(
    bank: Bank, rule: PrechargeRule, serving: Sequence[Bottle], readings: Sequence[PrechargeReading | None]
) -> str:
    """Return the bottles whose latest precharge is off its design by more than the tolerance, in words."""
    width = bank.precharge_tolerance.si if bank.precharge_tolerance is not None else rule.tolerance
    off: dict[str, list[Bottle]] = {"low": [], "high": []}
    for bottle, reading in zip(serving, readings, strict=True):
        deviation = judged(bank, reading).real.deviation if reading is not None else None
        if deviation is not None and abs(deviation) > width + _ROUNDING:
            off["low" if deviation < 0 else "high"].append(bottle)
    return ", ".join(f"{_named(bottles).lower()} {way}" for way, bottles in off.items() if bottles)


def _named(bottles: Sequence[Bottle]) -> str:
    numbers = [str(bottle.position_number) for bottle in bottles]
    if len(numbers) == 1:
        return f"Bottle {numbers[0]}"
    return f"Bottles {', '.join(numbers[:-1])} and {numbers[-1]}"


# Shell tests


def _shell_item(item: DueItem, serving: Sequence[Bottle], at: datetime) -> DueItem | None:
    """Return the row of the bottle in service whose shell test runs out first; None without bottles."""
    if not serving:
        return None
    unknown = [bottle for bottle in serving if bottle.shell_test_due_on is None]
    if unknown:
        return replace(item, error=f"No day is on file by which the shell test of {_named(unknown).lower()} is due.")
    first_on = min(bottle.shell_test_due_on for bottle in serving if bottle.shell_test_due_on)
    first = [bottle for bottle in serving if bottle.shell_test_due_on == first_on]
    zone = item.position.stack.rig.zone
    due_at = localise(datetime.combine(first_on + timedelta(days=1), time()), zone)
    state = State.OVERDUE if at >= due_at else State.DUE_SOON if due_at - at <= SOON else State.IN_DATE
    who = "Every bottle in service" if len(first) == len(serving) else _named(first)
    verb = "ran out" if state is State.OVERDUE else "runs out"
    reason = f"{who}: the shell test on file {verb} at {limit_words(due_at, zone)}."
    return replace(item, due=Due(due_at, None, state, None, None, reason))
