"""What stood on a stack when it was tested and is not proved by that test: its reader must not take it for proved."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from equipment.models import NOT_PRESSURE_TESTED, Component, Position
from equipment.queries.stacks import Standing, as_installed
from tests_app.models import Line, Outcome, Record, Step
from tests_app.queries.corrections import earlier_of, keys_corrected
from tests_app.queries.records import final_lines

LATELY: Final = timedelta(days=30)
"""Longer than most intervals of pressure tests."""
_BULKY: Final = (
    "component_as_tested",
    "working",
    "rules",
    "step__limits",
    "step__verdict",
    "step__record__content",
)
"""Columns no date hangs on."""


@dataclass(frozen=True)
class Unproven:
    """One installed component that no passing line of a test proves, or that is left failed from a side.

    Attributes:
        position: where it stood when the test began.
        component: what stood there.
        by_hold: whether a pressure hold is how its kind is proved; others have tests of their own.
        last: the latest signed test before this one that it passed, if any.
        failed_since: the latest signed test after `last` and before this one that it did not pass, if any.
        failed_here: whether this test left it failed.
    """

    position: Position
    component: Component
    by_hold: bool
    last: Record | None
    failed_since: Record | None
    failed_here: bool


def unproven_of(record: Record, steps: Iterable[Step]) -> list[Unproven]:
    """Return what the test does not prove of its stack, top first. A constant number of queries."""
    final = final_lines([line for step in steps for line in step.lines.all()])
    failed = {line.component_id for line in final if line.outcome != Outcome.PASSED}
    proved = {line.component_id for line in final if line.outcome == Outcome.PASSED} - failed
    standing = [
        (one.position, one.component) for one in as_installed(record.stack, at=record.started_at) if one.component
    ]
    left = [(position, component) for position, component in standing if component.pk not in proved]
    tests = _tests_before(record, [component for _, component in left])
    return [
        _unproven(position, component, tests.get(component.pk, ()), failed_here=component.pk in failed)
        for position, component in left
    ]


def never_proved(record: Record, standings: Iterable[Standing]) -> frozenset[int]:
    """Return the keys of the components that passed no signed test since they were installed here, before a record.

    The tests of late are asked first: what one of them proves needs none of the years before. Four queries at most.
    """
    placed = {one.component.pk: one for one in standings if one.component is not None and one.installation is not None}
    for since in (record.started_at - LATELY, None):
        asked = [one.component for one in placed.values() if one.component is not None]
        tests = _tests_before(record, asked, since=since) if asked else {}
        placed = {key: one for key, one in placed.items() if not _is_proved(one, tests.get(key, ()))}
    return frozenset(placed)


def _is_proved(standing: Standing, tests: Iterable[tuple[Record, bool]]) -> bool:
    assert standing.installation is not None
    since = standing.installation.installed_at
    return any(passed and record.concluded_at and record.concluded_at >= since for record, passed in tests)


def _unproven(
    position: Position, component: Component, tests: Sequence[tuple[Record, bool]], *, failed_here: bool
) -> Unproven:
    last = next((record for record, passed in tests if passed), None)
    latest = tests[0] if tests else None
    return Unproven(
        position=position,
        component=component,
        by_hold=component.kind not in NOT_PRESSURE_TESTED,
        last=last,
        failed_since=latest[0] if latest is not None and not latest[1] else None,
        failed_here=failed_here,
    )


def _tests_before(
    record: Record, components: Iterable[Component], *, since: datetime | None = None
) -> Mapping[int, list[tuple[Record, bool]]]:
    """Return of each component the signed tests before a record, the latest first, and whether it passed in each.

    A test that was corrected counts as its correction says, and the test this record corrects not at all. With `since`
    only what was concluded from then on.
    """
    sealed = Line.objects.filter(
        component__in=[component.pk for component in components],
        step__record__sealed_at__isnull=False,
        step__record__concluded_at__lte=record.started_at,
    ).exclude(step__record__in=keys_corrected(Record.objects.filter(rig=record.rig_id)) | earlier_of(record))
    if since is not None:
        sealed = sealed.filter(step__record__concluded_at__gte=since)
    by_test: dict[tuple[int, int], list[Line]] = defaultdict(list)
    for line in sealed.select_related("step__record").defer(*_BULKY):
        by_test[(line.component_id, line.step.record_id)].append(line)
    found: dict[int, list[tuple[Record, bool]]] = defaultdict(list)
    for (component, _), lines in by_test.items():
        passed = all(line.outcome == Outcome.PASSED for line in final_lines(lines))
        found[component].append((lines[0].step.record, passed))
    for tests in found.values():
        tests.sort(key=lambda test: (test[0].concluded_at, test[0].pk), reverse=True)
    return found
