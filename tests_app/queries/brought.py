"""What was brought in from elsewhere: files as they stand, and the tests somebody else made."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from enum import StrEnum

from django.db.models import Q, QuerySet

from calcs.recurrence import Tested
from equipment.models import Component, Rig
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from tests_app.models import BroughtFile, BroughtTest, FileState, SheetKind, What

RIGHT_FOR: Mapping[str, Right] = {
    SheetKind.COMPONENTS: Right.MANAGE,
    SheetKind.INSTALLATIONS: Right.MANAGE,
    SheetKind.TESTS: Right.WORK,
}
"""What somebody must be allowed to bring in each kind of row: the same as to enter it by hand."""


class Result(StrEnum):
    """What becomes of a row of a file."""

    ADD = "add"
    SAME = "same"
    REFUSED = "refused"


def counts_of(file: BroughtFile) -> dict[str, int]:
    """Return how many rows of a file come to each result, as last tried out or brought in."""
    found = [one["result"] for one in file.results]
    return {result.value: found.count(result.value) for result in Result}


def files_of(rig: Rig) -> QuerySet[BroughtFile]:
    """Return the files given on a rig, the last first, without their rows."""
    return BroughtFile.objects.filter(rig=rig).defer("results")


def file_for(user: Viewer, pk: int, *, to_act: bool = False) -> BroughtFile:
    """Return one file; raises NotYours (404) or NotAllowed (403). `to_act` asks for the right its rows need."""
    row = BroughtFile.objects.select_related("rig").filter(pk=pk).first()
    needs = RIGHT_FOR[row.sheet] if row is not None and to_act else Right.READ
    return access.checked(user, row, needs=needs)


def unfinished_files(rig: Rig) -> QuerySet[BroughtFile]:
    """Return the files that somebody gave and neither brought in nor set aside."""
    return files_of(rig).exclude(state__in=(FileState.BROUGHT_IN, FileState.SET_ASIDE))


def brought_tests_of(rig: Rig) -> QuerySet[BroughtTest]:
    """Return every test brought in on a rig, what was withdrawn too, the last concluded first."""
    return BroughtTest.objects.filter(rig=rig).select_related("component", "rig").order_by("-concluded_at", "-pk")


def brought_test_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> BroughtTest:
    """Return one test; raises NotYours (404) or NotAllowed (403)."""
    row = BroughtTest.objects.select_related("rig", "component", "brought_in_with").filter(pk=pk).first()
    return access.checked(user, row, needs=needs)


def brought_tests_of_component(component: Component) -> QuerySet[BroughtTest]:
    """Return the tests brought in of a component, the last concluded first."""
    return BroughtTest.objects.filter(component=component).order_by("-concluded_at", "-pk")


def confirmed_tests(
    rig: Rig, components: Iterable[int], *, known_at: datetime | None = None
) -> Mapping[int, Sequence[BroughtTest]]:
    """Return by component the tests that count for dates: confirmed and not withdrawn, now or by `known_at`. One query.

    The first concluded comes first.
    """
    counted = Q(confirmed_at__isnull=False, withdrawn_at__isnull=True)
    if known_at is not None:
        stood = Q(withdrawn_at__isnull=True) | Q(withdrawn_at__gt=known_at)
        counted = Q(confirmed_at__lte=known_at) & stood
    found: dict[int, list[BroughtTest]] = defaultdict(list)
    rows = BroughtTest.objects.filter(counted, rig=rig, component__in=list(components))
    for row in rows.order_by("concluded_at", "pk"):
        found[row.component_id].append(row)
    return found


def of_kind(tests: Iterable[BroughtTest], what: What, *, at: datetime) -> list[BroughtTest]:
    """Return those of one kind that were over by a moment."""
    return [one for one in tests if one.what == what and one.concluded_at <= at]


def event_of(one: BroughtTest, short: str = "") -> Tested:
    """Return a test brought in as a date reads it."""
    held = one.high_pressure.si if one.high_pressure else None
    return Tested(one.started_at, one.concluded_at, one.passed, held, short if one.passed else "")


def brought_note(tests: Sequence[BroughtTest], last_done_at: datetime | None) -> str:
    """Return what a reader must know where a date hangs on a test that is not signed here; empty where none does."""
    passed = [one for one in tests if one.passed]
    if passed and (last_done_at is None or passed[-1].concluded_at >= last_done_at):
        return f"Its last passed test was brought in and is not signed here: {_named(passed[-1])}."
    failed = [one for one in tests if not one.passed]
    if failed and (last_done_at is None or failed[-1].concluded_at > last_done_at):
        return f"Its last test was brought in and did not pass: {_named(failed[-1])}."
    return ""


def _named(one: BroughtTest) -> str:
    return f"{one.certificate_number} by {one.tested_by}; compared with {one.confirmed_reference} by {one.confirmed_by}"
