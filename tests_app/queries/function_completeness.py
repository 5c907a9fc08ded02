"""What a draft of a function test still lacks before it can be signed."""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import Any, Final

from calcs.rotation import turns_asked
from calcs.schedule_rules import Evidence, Task, rules_on
from equipment.models import ControlKind, PositionGroup, StackKind
from equipment.queries.controls import STATION_KINDS, controls_of, pods_among, stations_among
from tests_app.models import ClosedOn, FunctionLine, Record, TestReason
from tests_app.queries import bank_points
from tests_app.queries.completeness import OpenPoint
from tests_app.queries.drawdowns import edition_of_record
from tests_app.queries.function_statements import statements_of
from tests_app.queries.function_subjects import BY_HAND, CLOSES_ON_SOMETHING, rule_stack
from tests_app.queries.functioned import failed_open
from tests_app.queries.line_ups import BLIND

LONGEST: Final = timedelta(hours=24)
"""How long working the functions of a stack may last; deadlines count from the conclusion (common practice)."""
_LAST_WORKED: Final = "last function"
_BY_ITSELF: Final = frozenset(
    {ControlKind.DEADMAN, ControlKind.AUTOSHEAR, ControlKind.EMERGENCY_DISCONNECT, ControlKind.ROV_INTERVENTION}
)
"""Control items that are not worked from a station: they act by themselves, or by ROV."""
_UNDER_WATER: Final = (PositionGroup.BORE, PositionGroup.CHOKE_SIDE, PositionGroup.KILL_SIDE)


def function_points(record: Record) -> list[OpenPoint]:
    """Return what keeps a function test from being signed, then what is worth a look. A constant number of queries."""
    lines = list(record.function_lines.select_related("position", "component", "control_item").order_by("order"))
    points = [
        *bank_points.conclusion(record),
        *_span(record),
        *bank_points.calibrations(record, record.instrument_uses.select_related("instrument")),
        *_none(lines),
        *_statements(record, lines),
        *_controls(record, lines),
        *_stations_themselves(record, lines),
    ]
    for line in lines:
        points += [*_of_line(record, line)]
    points += [*_left_failed(lines), *_volumes(record, lines)]
    return sorted(points, key=lambda point: not point.blocks)


def _none(lines: Sequence[FunctionLine]) -> Iterator[OpenPoint]:
    if not lines:
        yield OpenPoint("lines", "Nothing was worked yet.", "Add what was worked, a line each.")


def _span(record: Record) -> Iterator[OpenPoint]:
    if record.concluded_at is None or record.concluded_at - record.started_at <= LONGEST:
        return
    hours = round((record.concluded_at - record.started_at).total_seconds() / 3600)
    yield OpenPoint(
        "concluded_at",
        f"The test lasted {hours} hours.",
        "Deadlines count from its conclusion: correct it, or say in the remarks when the last function was worked, "
        f"with the words “{_LAST_WORKED}”. The report prints that.",
        blocks=_LAST_WORKED not in record.remarks.casefold(),
    )


def _statements(record: Record, lines: Sequence[FunctionLine]) -> Iterator[OpenPoint]:
    for one in statements_of(record, lines):
        if not one.is_confirmed:
            yield OpenPoint(
                "statements",
                f"Not confirmed: {one.words}",
                f"{one.clause} asks for it before {', '.join(one.about)}: confirm it, or take that out of this test.",
            )


def _of_line(record: Record, line: FunctionLine) -> Iterator[OpenPoint]:
    verdict: dict[str, Any] = line.verdict or {"times": [], "turns": []}
    field, name = f"line-{line.pk}", str(line)
    if line.completed is None:
        yield OpenPoint(field, f"{name}: it is not said whether it worked completely.", "Say so, yes or no.")
        return
    missing = [
        one for one in verdict["times"] if one["seconds"] is None and (one["clause"] or _times_asked(record, line))
    ]
    for one in missing:
        yield OpenPoint(
            field,
            f"{name}: how long it took to {one['movement']} was not timed, and the rules ask for it.",
            "Enter it; or say in its remarks why it was not timed.",
            blocks=not line.remarks.strip(),
        )
    for turn in verdict["turns"]:
        yield OpenPoint(
            field, f"{name}: {turn['words']} {turn['clause']}.", "Say in the remarks why, if so.", blocks=False
        )
    yield from _pipe_doubts(line, field)
    if line.leak_seen:
        yield OpenPoint(
            field, f"{name}: leak or defect seen: {line.leak_description}", "The report prints it.", blocks=False
        )


def _times_asked(record: Record, line: FunctionLine) -> bool:
    return _asks(record, line, Evidence.CLOSING_TIMES)


def _asks(record: Record, line: FunctionLine, evidence: Evidence) -> bool:
    rules = rules_on(
        edition_of_record(record), Task.FUNCTION, line.subject_as_tested["kind"], stack=rule_stack(record.stack)
    )
    return any(needed.what is evidence for rule in rules for needed in rule.evidence)


def _volumes(record: Record, lines: Sequence[FunctionLine]) -> Iterator[OpenPoint]:
    without = [
        str(line)
        for line in lines
        if line.component_id
        and line.closing_volume is None
        and line.opening_volume is None
        and _asks(record, line, Evidence.VOLUMES)
    ]
    if without:
        yield OpenPoint(
            "lines",
            f"The fluid used was not taken of: {', '.join(without)}. The rules followed ask for it.",
            "Enter what was measured or counted, or say in the remarks why not.",
            blocks=False,
        )


def _pipe_doubts(line: FunctionLine, field: str) -> Iterator[OpenPoint]:
    component = line.component
    if component is None or "close" not in line.worked:
        return
    if component.kind in CLOSES_ON_SOMETHING and not line.closed_on:
        yield OpenPoint(
            field, f"{line}: it is not said what it closed on.", "Say so: on which pipe, or on open hole.", blocks=False
        )
    if line.closed_on == ClosedOn.PIPE and component.kind in BLIND | {"casing-shear-ram"}:
        yield OpenPoint(
            field,
            f"{line}: it closed on pipe, which a shear ram shears.",
            "Say in its remarks what it closed on and why.",
            blocks=not line.remarks.strip(),
        )
    smallest, largest, pipe = component.closes_on_smallest, component.closes_on_largest, line.pipe
    outside = pipe is not None and (
        (smallest is not None and pipe.si < smallest.si - 1e-6) or (largest is not None and pipe.si > largest.si + 1e-6)
    )
    if outside:
        yield OpenPoint(
            field,
            f"{line}: it closed on pipe of {pipe}, and is on file for {smallest} to {largest}.",
            "Check the pipe and the component's papers.",
            blocks=False,
        )
    if line.closed_on == ClosedOn.OPEN_HOLE and component.kind in ("pipe-ram", "variable-bore-ram"):
        yield OpenPoint(
            field,
            f"{line}: it closed on open hole, where a pipe ram seals on nothing and may be harmed.",
            "Check what it closed on; close it on the pipe it is made for (common practice).",
            blocks=False,
        )


def _controls(record: Record, lines: Sequence[FunctionLine]) -> Iterator[OpenPoint]:
    """Ask from which station, and by which pod, each thing was worked; advise where no rule asks for turns."""
    on_stump = record.function_test.reason == TestReason.STUMP
    items = controls_of(record.stack, at=record.started_at)
    edition, stack = edition_of_record(record), rule_stack(record.stack)
    from_one = [line for line in lines if line.subject_as_tested["kind"] not in _BY_ITSELF | BY_HAND]
    for name, found, wanted in (
        ("station", stations_among(items), from_one),
        ("pod", pods_among(items), [line for line in from_one if _needs_pod(record, line)]),
    ):
        without = [line for line in wanted if getattr(line, f"{name}_id") is None]
        if not without:
            continue
        turns = [turns_asked(edition, line.subject_as_tested["kind"], stack=stack) for line in without]
        asked = any(turn.stations if name == "station" else turn.pods for turn in turns)
        remedy = f"Name the {name} in its line." if found else f"Put the stack's {name}s on file first, on its page."
        yield OpenPoint(
            f"line-{without[0].pk}",
            f"No {name} is named for: {', '.join(str(line) for line in without)}.",
            remedy,
            blocks=asked and not on_stump,
        )


def _needs_pod(record: Record, line: FunctionLine) -> bool:
    in_the_sea = line.position is not None and line.position.group in _UNDER_WATER
    return record.stack.kind == StackKind.SUBSEA and in_the_sea


def _stations_themselves(record: Record, lines: Sequence[FunctionLine]) -> Iterator[OpenPoint]:
    """Point out a station the rules want tested and from which things were worked, that has no line of its own."""
    own = {line.control_item_id for line in lines}
    edition, stack = edition_of_record(record), rule_stack(record.stack)
    used = {line.station_id for line in lines if line.station_id} - own
    for item in controls_of(record.stack, at=record.started_at):
        if item.pk in used and item.kind in STATION_KINDS and rules_on(edition, Task.FUNCTION, item.kind, stack=stack):
            yield OpenPoint(
                "lines",
                f"Things were worked from {item.name}, which has no line of its own.",
                "If all its functions were worked, add it: the rules ask for its own test.",
                blocks=False,
            )


def _left_failed(lines: Sequence[FunctionLine]) -> Iterator[OpenPoint]:
    for line in failed_open(list(lines)):
        assert isinstance(line, FunctionLine)
        reasons = " ".join((line.verdict or {"reasons": []})["reasons"])
        yield OpenPoint(
            f"line-{line.pk}",
            f"{line} did not pass: {reasons}",
            "Once it is put right, work it again: add that as a line of its own.",
            blocks=False,
        )
