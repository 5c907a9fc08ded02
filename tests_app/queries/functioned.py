"""What function tests, and pressure tests that count for them, say of components and control items over the years.

What a pressure test is taken to have closed: each preventer and hydraulic valve that a passing line of it proves. The
pressure stood against it, so it was closed, from the station and by the pod the heading names, and it moved to close.
How long it took is not known, nor that it opened again in time. What is worked by hand, closes by its own flow, or only
holds pressure (a connector, a spool, a line) was not closed from a station, and neither was anything where the heading
names none: on the stump a unit of the shop may have closed it.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Final, Literal, NamedTuple

from django.db.models import F, Q

from calcs.recurrence import Tested
from equipment.models import RAM_KINDS, ComponentKind, Stack
from tests_app.models import FunctionLine, Line, Outcome, Record, RecordKind
from tests_app.queries.corrections import is_first_of_its_test, keys_corrected

Subject = tuple[Literal["component", "controlitem"], int]
"""A component or a control item, by its key."""

CLOSED_FROM_A_STATION: Final = RAM_KINDS | {
    ComponentKind.ANNULAR,
    ComponentKind.CHOKE_VALVE,
    ComponentKind.KILL_VALVE,
    ComponentKind.GATE_VALVE_HYDRAULIC,
}
"""Kinds a pressure hold shows closed from a station, where the heading names one."""


class Functioned(NamedTuple):
    """What one record says of one subject: whether nothing of it is left failed, or not judged, in that record."""

    record_id: int
    passed: bool


class _Line(NamedTuple):
    pk: int
    record_id: int
    component_id: int | None
    control_item_id: int | None
    outcome: str
    retest_of_id: int | None


def functioned(
    records: Q, *, components: Collection[int] | None = None, control_items: Collection[int] | None = None
) -> dict[Subject, list[Functioned]]:
    """Return by subject what each record among `records` (a condition on `FunctionLine`) says of it. One query.

    Keys given narrow it to those; None takes in every one. Which records count is for the caller to say.
    """
    wanted = Q()
    if components is not None or control_items is not None:
        wanted = Q(component__in=components or ()) | Q(control_item__in=control_items or ())
    rows = FunctionLine.objects.filter(records, wanted).order_by().values_list(*_Line._fields)
    lines: dict[tuple[Subject, int], list[_Line]] = defaultdict(list)
    for row in rows.iterator(chunk_size=5_000):
        line = _Line(*row)
        lines[_subject(line), line.record_id].append(line)
    found: dict[Subject, list[Functioned]] = defaultdict(list)
    for (subject, record), own in lines.items():
        found[subject].append(Functioned(record, all_worked(own)))
    return dict(found)


def _subject(line: _Line) -> Subject:
    if line.component_id is not None:
        return "component", line.component_id
    assert line.control_item_id is not None  # a line is about one or the other, which the database holds
    return "controlitem", line.control_item_id


def all_worked(lines: Iterable[_Line | FunctionLine]) -> bool:
    """Tell whether every line passed, or was worked again in the same record and passed then."""
    known = list(lines)
    return not failed_open(known) and all(line.outcome != Outcome.PENDING for line in known)


def failed_open(lines: Sequence[_Line | FunctionLine]) -> list[_Line | FunctionLine]:
    """Return the lines left failed: no line that works the same thing again in the record passed."""
    proved: set[int | None] = set()
    by_key = {line.pk: line for line in lines}
    for line in lines:
        if line.outcome == Outcome.PASSED:
            proved |= set(_worked_before(line, by_key))
    return [line for line in lines if line.outcome == Outcome.FAILED and line.pk not in proved]


def _worked_before(line: _Line | FunctionLine, by_key: Mapping[int, _Line | FunctionLine]) -> Iterable[int]:
    earlier = line.retest_of_id
    while earlier is not None and earlier in by_key:
        yield earlier
        earlier = by_key[earlier].retest_of_id


def function_events(component_keys: Collection[int], control_item_keys: Collection[int]) -> dict[Subject, list[Tested]]:
    """Return the function tests of components and control items, as events a deadline is worked out from.

    Sealed records no sealed correction replaces, and drafts that are running. A constant number of queries.
    """
    found = functioned(Q(record__discarded_at__isnull=True), components=component_keys, control_items=control_item_keys)
    records = _counting({one.record_id for proved in found.values() for one in proved})
    return {
        subject: [_event(records[one.record_id], one.passed) for one in proved if one.record_id in records]
        for subject, proved in found.items()
    }


def _counting(keys: Collection[int]) -> dict[int, Record]:
    records = Record.objects.filter(pk__in=keys)
    kept = records.select_related("superseded_by", "supersedes").defer("content", "superseded_by__content")
    corrected = keys_corrected(records)
    return {
        one.pk: one
        for one in kept.defer("supersedes__content")
        if (one.pk not in corrected if one.sealed_at is not None else _is_running(one))
    }


def _is_running(draft: Record) -> bool:
    """Tell whether a record not sealed yet is a test under way: a correction of a sealed one tests nothing anew."""
    return getattr(draft, "superseded_by", None) is None and is_first_of_its_test(draft)


def _event(record: Record, passed: bool) -> Tested:
    if record.sealed_at is None:
        return Tested(record.started_at)
    return Tested(record.started_at, record.concluded_at, passed)


class Used(NamedTuple):
    """One time a subject was worked before: from which station and pod, as kept, and how long it took, s."""

    at: datetime
    number: int
    station: str
    pod: str
    closing: float | None
    opening: float | None


def used_before(
    stack_pk: int, *, components: Collection[int], control_items: Collection[int], before: datetime, since: datetime
) -> dict[Subject, list[Used]]:
    """Return by subject the times it was worked on a stack in sealed tests in a span, the latest first.

    Function tests, and pressure tests for what they closed (see the top of this module). Corrected records are left
    out. A constant number of queries.
    """
    span = Q(record__started_at__lt=before, record__started_at__gte=since)
    corrected = keys_corrected(Record.objects.filter(stack=stack_pk, sealed_at__isnull=False))
    found: dict[Subject, list[Used]] = defaultdict(list)
    lines = FunctionLine.objects.filter(span, record__stack=stack_pk, record__sealed_at__isnull=False)
    lines = lines.filter(Q(component__in=components) | Q(control_item__in=control_items)).exclude(record__in=corrected)
    for line in lines.select_related("record").defer("record__content").order_by():
        subject: Subject = (
            ("component", line.component_id) if line.component_id else ("controlitem", line.control_item_id or 0)
        )
        found[subject].append(_used(line))
    for subject, used in _closed_in_pressure_tests(stack_pk, components, before, since, corrected):
        found[subject].append(used)
    return {subject: sorted(times, key=lambda one: one.at, reverse=True) for subject, times in found.items()}


def last_function_test(stack: Stack) -> Record | None:
    """Return the stack's function test opened last, given-up drafts left out, with its heading."""
    opened = Record.objects.filter(stack=stack, kind=RecordKind.FUNCTION, discarded_at=None)
    return opened.select_related("function_test").defer("content").order_by("-started_at").first()


def _used(line: FunctionLine) -> Used:
    timed = {"closing": line.closing_time, "opening": line.opening_time}
    return Used(
        line.record.started_at,
        line.record.number,
        turn_key(line.controls_as_used.get("station")),
        turn_key(line.controls_as_used.get("pod")),
        *(time.si if time is not None and line.outcome == Outcome.PASSED else None for time in timed.values()),
    )


def turn_key(kept: Mapping[str, object] | None) -> str:
    """Return by what a station or pod, as kept, is told from the others: its place, else its own key."""
    return "" if not kept else str(kept["place"] or f"item-{kept['key']}")


def _closed_in_pressure_tests(
    stack_pk: int, components: Collection[int], before: datetime, since: datetime, corrected: Collection[int]
) -> Iterable[tuple[Subject, Used]]:
    rows = (
        Line.objects.filter(
            component__in=components,
            component__kind__in=CLOSED_FROM_A_STATION,
            outcome=Outcome.PASSED,
            step__record__stack=stack_pk,
            step__record__kind=RecordKind.PRESSURE,
            step__record__sealed_at__isnull=False,
            step__record__started_at__lt=before,
            step__record__started_at__gte=since,
        )
        .exclude(step__record__pressure_test__control_station="")
        .exclude(step__record__in=corrected)
        .annotate(
            at=F("step__record__started_at"),
            number=F("step__record__number"),
            station=F("step__record__pressure_test__control_station"),
            pod=F("step__record__pressure_test__pod"),
        )
    )
    for key, at, number, station, pod in (
        rows.order_by().values_list("component_id", "at", "number", "station", "pod").distinct()
    ):
        yield ("component", key), Used(at, number, station, pod, None, None)
