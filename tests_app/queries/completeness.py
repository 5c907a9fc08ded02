"""What a draft still lacks before it can be signed, as a list a person can work through."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import combinations
from typing import Any, Final

from accounts.presentation import date_text
from calcs.verdicts import duration_in_words
from equipment.models import RAM_KINDS, ComponentKind, Instrument, PositionGroup, StackKind
from tests_app.models import Barrier, Evidence, InstrumentUse, Line, Outcome, Record, Recording, Step
from tests_app.queries.alarms import alarms_of, over_rating
from tests_app.queries.conclusions import late_conclusion
from tests_app.queries.finished_sections import finished_section
from tests_app.queries.line_ups import pipe_doubts
from tests_app.queries.proposals import is_unconfirmed, loose_holds, recorded_seconds
from tests_app.queries.records import last_station_and_pod, recordings_of, steps_of
from tests_app.queries.stretches import judged_on_before, named
from tests_app.queries.unread_files import unread
from tests_app.queries.verdicts import holds_of, overlaps

TIMES_TOLERANCE_S: Final = 120.0
"""By how much recordings may last longer than the test: times are written to the minute."""


@dataclass(frozen=True)
class OpenPoint:
    """One thing missing or worth a look.

    Attributes:
        field: what it is about: a field of the heading, `steps`, `instruments`, or `step-3`.
        reason: what is missing, in words.
        remedy: what to do.
        blocks: whether the record can't be signed with it; otherwise it is advice.
    """

    field: str
    reason: str
    remedy: str
    blocks: bool = True


_CLOSED_FROM_A_STATION: Final = RAM_KINDS | {ComponentKind.ANNULAR, ComponentKind.GATE_VALVE_HYDRAULIC}
_UNDER_WATER: Final = (PositionGroup.BORE, PositionGroup.CHOKE_SIDE, PositionGroup.KILL_SIDE)


def open_points(record: Record) -> list[OpenPoint]:
    """Return what keeps a draft from being signed, then what is worth a look. A constant number of queries."""
    steps = list(steps_of(record))
    uses = list(record.instrument_uses.select_related("instrument"))
    points = [*_conclusion(record, steps), *_instruments(record, uses), *_steps(steps), *_station(record, steps)]
    files = list(recordings_of(record))
    points += [OpenPoint(*point) for point in unread(files, steps)]
    points += [OpenPoint(*point) for point in (*late_conclusion(record, files, steps), *finished_section(record))]
    points += [*_unconfirmed(steps), *_attempts_without_step(record, files, steps), *_too_long(record, files)]
    points += [*_judged_before(record, steps), *_alarms(record, steps)]
    return sorted(points, key=lambda point: not point.blocks)


def is_in_date(instrument_as_used: dict[str, Any], on: date) -> bool | None:
    """Tell whether an instrument's calibration, as it stood, was in date on a day; None with no date on file."""
    due = instrument_as_used["calibration_due_on"]
    return date.fromisoformat(due) >= on if due else None


def day_of(record: Record) -> date:
    """Return the day the test began, on the rig's clock."""
    return record.started_at.astimezone(record.rig.zone).date()


def _conclusion(record: Record, steps: Iterable[Step]) -> Iterator[OpenPoint]:
    if record.concluded_at is None:
        yield OpenPoint(
            "concluded_at", "The test is not concluded.", "Say when it was over: deadlines count from then."
        )
        return
    for step in steps:
        if step.concluded_at is not None and step.concluded_at > record.concluded_at:
            yield _out_of_time(record, step, "after the test concluded")
        began = _began(step)
        if began is not None and began < record.started_at:
            yield _out_of_time(record, step, "before the test began")


def _out_of_time(record: Record, step: Step, when: str) -> OpenPoint:
    """Return the point on a hold outside the test's time; a recorder's clock may be wrong, if that is said."""
    return OpenPoint(
        f"step-{step.order}",
        f"{step} was held {when}, by the clock of its {'recording' if step.recording_id else 'readings'}.",
        "Check the test's start and conclusion, and that the file is this test's. Was the recorder's clock off, say so "
        "in the remarks: the certificate prints that.",
        blocks="clock" not in record.remarks.casefold(),
    )


def _began(step: Step) -> datetime | None:
    began = holds_of(step.verdict)[0][1]["start_at"] if step.verdict else None
    return datetime.fromisoformat(began) if began else None


def _instruments(record: Record, uses: list[InstrumentUse]) -> Iterator[OpenPoint]:
    if not uses:
        yield OpenPoint("instruments", "No instrument is named.", "Name the gauge or recorder the test was read from.")
    day = day_of(record)
    for use in uses:
        if is_in_date(use.as_used, day) is not True and not _is_noted(use.instrument, record):
            yield OpenPoint(
                "instruments",
                f"{use.instrument} was not in calibration on {date_text(day)}, as far as its papers on file show.",
                f"Name it by its serial number, {use.instrument.serial}, in the remarks and say why it was used; "
                "the certificate prints that. Or enter its calibration.",
            )


def _is_noted(instrument: Instrument, record: Record) -> bool:
    return instrument.serial.casefold() in record.remarks.casefold()


def _steps(steps: list[Step]) -> Iterator[OpenPoint]:
    if not steps:
        yield OpenPoint("steps", "The test has no step.", "Add the line-ups that were tested.")
    for step in steps:
        if step.outcome == Outcome.PENDING:
            yield OpenPoint(
                f"step-{step.order}",
                f"{step} is not judged.",
                "Attach its recording, choose its marks, type its readings, or take it out.",
            )
        if not step.pump_point:
            yield OpenPoint(
                f"step-{step.order}",
                f"{step} does not say where the pressure was pumped in.",
                "Change the step and give its pump point.",
            )
        for doubt in pipe_doubts(step):
            yield OpenPoint(f"step-{step.order}", doubt.reason, doubt.remedy, doubt.blocks)
    for first, second in _shared_holds(steps):
        yield OpenPoint(
            f"step-{second.order}",
            f"{first} and {second} are judged from the same stretch of {first.recording}: one hold proves one step.",
            "Move the marks of one of them.",
        )


def _shared_holds(steps: list[Step]) -> Iterator[tuple[Step, Step]]:
    for first, second in combinations([step for step in steps if step.evidence == Evidence.RECORDING], 2):
        if first.recording_id == second.recording_id and overlaps(first.verdict, second.verdict):
            yield first, second


def _judged_before(record: Record, steps: list[Step]) -> Iterator[OpenPoint]:
    """Name each step that rests on samples another step of the rig rests on, in whatever file they came."""
    before = judged_on_before(record, steps)
    for step in steps:
        if step.pk in before:
            yield OpenPoint(
                f"step-{step.order}",
                f"{step} is judged from the same samples as {named(before[step.pk], record)}: one hold proves one "
                "step, once.",
                "Judge it from its own recording; set aside the file that is not this test's.",
            )


def _unconfirmed(steps: Iterable[Step]) -> Iterator[OpenPoint]:
    """Ask for the tester's word on what the search proposed: it can't know which line-up was under pressure."""
    for step in steps:
        if is_unconfirmed(step):
            yield OpenPoint(
                f"step-{step.order}",
                f"{step} is judged on a hold that was proposed and is not confirmed.",
                "Confirm the proposals of the file, or move the marks.",
            )


def _attempts_without_step(record: Record, files: Iterable[Recording], steps: list[Step]) -> Iterator[OpenPoint]:
    """Ask for attempts in a recording that no step accounts for: a failed test stays on record."""
    for hold in loose_holds(files, steps):
        if not hold.is_named_in(record.remarks):
            yield OpenPoint(
                "steps",
                f"{hold} is assigned to no step.",
                "Add a step and judge it on this hold (a test that failed before it was repeated is one), or say "
                f"in the remarks what “hold {hold.number}” was: the certificate prints that.",
            )


def _too_long(record: Record, files: Iterable[Recording]) -> Iterator[OpenPoint]:
    """Ask about recordings that last longer than the test did."""
    if record.concluded_at is None or "clock" in record.remarks.casefold():
        return
    recorded, test = recorded_seconds(files), (record.concluded_at - record.started_at).total_seconds()
    if recorded > test + TIMES_TOLERANCE_S:
        yield OpenPoint(
            "concluded_at",
            f"The recordings last {duration_in_words(recorded)} together, the test {duration_in_words(test)}.",
            "Correct when it began or concluded. Was a recorder's clock off, or do files hold more than this test, "
            "say so in the remarks with the word “clock”: the certificate prints that.",
        )


def _alarms(record: Record, steps: list[Step]) -> Iterator[OpenPoint]:
    """Advise on what does not fail the test but must not be overlooked."""
    over = over_rating(steps)
    for alarm in (*alarms_of(record, steps), *([over] if over else [])):
        yield OpenPoint(f"step-{alarm.step}", alarm.text, alarm.remedy, blocks=False)


def is_worked_from_a_station(line: Line) -> bool:
    """Tell whether what a line proves is closed from a control station, and not by hand or by its own flow."""
    return line.component.kind in _CLOSED_FROM_A_STATION or line.component.closing_volume is not None


def _station(record: Record, steps: Sequence[Step]) -> Iterator[OpenPoint]:
    """Ask for the control station and pod, which a record must name (30 CFR 250.746(d)); advise on repeats.

    Blocks where something was closed from a station; on the stump it may have been closed by a unit of the shop.
    """
    heading = record.pressure_test
    on_stump = heading.barrier == Barrier.STUMP
    closed_from_one = any(is_worked_from_a_station(line) for step in steps for line in step.lines.all())
    must = closed_from_one and not on_stump
    if not heading.control_station:
        yield OpenPoint(
            "control_station", "No control station is named.", "Name in the heading the one used.", blocks=must
        )
    if record.stack.kind == StackKind.SUBSEA and not on_stump and not heading.pod:
        in_the_sea = any(line.position.group in _UNDER_WATER for step in steps for line in step.lines.all())
        yield OpenPoint("pod", "No pod is named.", "Name in the heading the one used.", blocks=must and in_the_sea)
    station, pod = last_station_and_pod(record.stack, before=record.started_at)
    if station and station == heading.control_station:
        yield OpenPoint(
            "control_station",
            f"The test before this one was made from the same station: {heading.get_control_station_display()}.",
            "Stations are used in turn; say in the remarks why not.",
            blocks=False,
        )
    if pod and pod == heading.pod:
        yield OpenPoint(
            "pod",
            f"The test before this one was made by the same pod: {heading.get_pod_display()}.",
            "Pods are used in turn; say in the remarks why not.",
            blocks=False,
        )
