"""Function tests as done, for the tests: built through the application's own actions."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, Final

from equipment.actions import controls
from equipment.models import ControlItem
from tests.builders import LONG_AGO
from tests.builders_signing import all_sign
from tests.builders_tests_app import STARTED, World
from tests_app.actions import function_lines, function_tests, pressure_tests
from tests_app.actions.function_lines import LineFacts
from tests_app.actions.function_tests import FunctionHeading, WorkedFrom
from tests_app.models import FunctionLine, Record, Signature
from tests_app.queries.function_subjects import FunctionSubject, subjects_of

SURFACE_ITEMS: Final = (
    ("control-station", "Drill floor station", "drill-floor"),
    ("control-station", "Toolpusher's station", "remote"),
)
SUBSEA_ITEMS: Final = (
    *SURFACE_ITEMS,
    ("pod", "Blue pod", "blue"),
    ("pod", "Yellow pod", "yellow"),
    ("deadman", "Deadman", ""),
)


def with_controls(world: World) -> dict[str, ControlItem]:
    """Put the stations, and of a subsea stack the pods and the deadman, on file; by name."""
    items = SUBSEA_ITEMS if world.stack.kind == "subsea" else SURFACE_ITEMS
    return {
        name: controls.add_control_item(
            world.stack, kind=kind, name=name, place=place, in_service_from=LONG_AGO, by=world.supervisor, at=STARTED
        )
        for kind, name, place in items
    }


def subjects(world: World, *names: str, at: datetime = STARTED) -> list[FunctionSubject]:
    """The things of the stack with these names, in their order there; all of them without a name."""
    found = subjects_of(world.stack, None, at=at)
    return [one for one in found if one.name in names] if names else found


def a_function_draft(
    world: World,
    *names: str,
    station: ControlItem | None = None,
    pod: ControlItem | None = None,
    at: datetime = STARTED,
    **heading: Any,
) -> Record:
    """A draft of a function test that works the named things."""
    return function_tests.open_function_test(
        stack=world.stack,
        section=None,
        heading=FunctionHeading(**{"started_at": at, "reason": "interval", "pipe_in_hole": "5 in", **heading}),
        subjects=subjects(world, *names, at=at),
        worked_from=WorkedFrom(station, pod),
        instruments=[],
        by=world.supervisor,
        at=at,
    )


def line_of(record: Record, name: str) -> FunctionLine:
    """The last line of a record about the thing of that name."""
    return next(line for line in record.function_lines.order_by("-order") if str(line) == name)


def facts_of(line: FunctionLine, **facts: Any) -> LineFacts:
    """A line as it stands, with other facts: worked completely, in 12 s either way where it moves so."""
    times = {"closing_time": "12 s" if "close" in line.worked or line.worked == "sequence" else ""}
    times["opening_time"] = "12 s" if "open" in line.worked else ""
    stands = {
        "worked": line.worked,
        "station": line.station,
        "pod": line.pod,
        "closed_on": line.closed_on,
        "completed": True,
        **times,
    }
    return LineFacts(**{**stands, **facts})


def worked(
    record: Record, world: World, facts: Mapping[str, dict[str, Any]] | None = None, *, at: datetime = STARTED
) -> Record:
    """Write every line of a draft as worked well, but for the facts given by name."""
    given = facts or {}
    lines = {line.pk: facts_of(line, **given.get(str(line), {})) for line in record.function_lines.all()}
    record.refresh_from_db()
    return function_lines.write_function_lines(record, lines=lines, version=record.version, by=world.supervisor, at=at)


def concluded(record: Record, world: World, *, at: datetime | None = None) -> Record:
    """A draft concluded an hour after its start."""
    end = at or record.started_at + timedelta(hours=1)
    return pressure_tests.conclude(record, concluded_at=end, by=world.supervisor, at=end)


def signed(record: Record, world: World) -> Signature:
    """A concluded draft signed by all its rules need."""
    return all_sign(record, world.supervisor, at=record.started_at + timedelta(hours=2))


def a_sealed_function_test(
    world: World,
    names: Sequence[str],
    facts: Mapping[str, dict[str, Any]] | None = None,
    **opened: Any,
) -> Record:
    """A function test of the named things, worked, concluded and sealed."""
    record = a_function_draft(world, *names, **opened)
    worked(record, world, facts, at=record.started_at)
    concluded(Record.objects.get(pk=record.pk), world)
    signed(record, world)
    return Record.objects.get(pk=record.pk)
