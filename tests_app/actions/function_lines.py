"""Writing what was seen and taken while functions were worked: all lines of a test in one go."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.models import User
from calcs.bank_rules import Movement
from calcs.function_verdicts import LONGEST_S, Ways
from equipment.actions import refusals, saving
from equipment.errors import Refused
from equipment.models import ControlItem, Measured
from tests_app.actions.function_judging import judge_function_record, lines_with_rows
from tests_app.actions.function_tests import WorkedFrom, hold_function_draft, refuse_strange_controls, told_of_line
from tests_app.models import ClosedOn, FunctionLine, Record, Worked
from trail import entries

_COUNTERS: Final = ("counter_before", "counter_between", "counter_after")
_MOST_FLUID_M3: Final = 20.0
"""No function takes as much, 5,000 gal (common practice)."""
_LARGEST_PIPE_M: Final = 1.0


@dataclass(frozen=True)
class LineFacts:
    """One line as typed: quantities as text with their unit, such as ``9.2 s``, empty for not taken.

    Attributes:
        worked: how it was worked, see `tests_app.models.Worked`.
        closed_on: what it closed on, see `ClosedOn`; empty where it closes on nothing.
        pipe: outside diameter of the pipe it closed on.
        closing_volume: of fluid; empty where the counter tells it.
        completed: whether it worked completely; None while nobody says so.
    """

    worked: str
    station: ControlItem | None = None
    pod: ControlItem | None = None
    closed_on: str = ""
    pipe: str = ""
    closing_time: str = ""
    opening_time: str = ""
    closing_volume: str = ""
    opening_volume: str = ""
    counter_before: str = ""
    counter_between: str = ""
    counter_after: str = ""
    completed: bool | None = None
    leak_seen: bool = False
    leak_description: str = ""
    remarks: str = ""

    def suppose_on(self, line: FunctionLine) -> None:
        """Put the facts on a line that is not saved; where they can't be, the line stays as it is on file."""
        try:
            _assign(line, self)
            sound = not _implausible(line)
        except (ValidationError, Refused):
            sound = False
        if not sound:
            line.refresh_from_db()


@transaction.atomic
def write_function_lines(
    record: Record, *, lines: Mapping[int, LineFacts], version: int, by: User, at: datetime
) -> Record:
    """Write the lines of a draft, by key, and judge the test anew.

    Raises RecordIsStale when the draft changed since `version`, and ValidationError with every field at fault, named
    ``<field>-<key>``, of all lines at once: nothing is saved then.
    """
    held = hold_function_draft(record, version=version)
    known = {line.pk: line for line in lines_with_rows(held)}
    if set(lines) - set(known):
        raise Refused("", "A line was taken out meanwhile.", "Open the test again and compare.")
    was: dict[str, Any] = {}
    became: dict[str, Any] = {}
    wrong: dict[str, Any] = {}
    for pk, facts in lines.items():
        before = told_of_line(known[pk])
        wrong |= {f"{field}-{pk}": words for field, words in _written(held, known[pk], facts).items()}
        differs = entries.changes(before, told_of_line(known[pk]))
        if differs[1]:
            was[_label(known[pk])], became[_label(known[pk])] = differs
    if wrong:
        raise ValidationError(wrong)
    if became:
        for pk in lines:
            known[pk].save()
        held.version += 1
        held.save(update_fields=["version"])
        judge_function_record(held)
        entries.write("record.lines-written", held, by=by, at=at, rig_number=held.rig_id, before=was, after=became)
    return held


def _label(line: FunctionLine) -> str:
    return f"{line.order}. {line}"


def _written(record: Record, line: FunctionLine, facts: LineFacts) -> dict[str, Any]:
    """Put what was typed on the line; returns what is wrong with it, by field."""
    try:
        refuse_strange_controls(record, WorkedFrom(facts.station, facts.pod))
        _assign(line, facts)
        wrong = _implausible(line)
        if wrong:
            return wrong
        refusals.refuse_invalid(line, exclude=("record", "verdict", "subject_as_tested", "controls_as_used"))
    except ValidationError as error:
        return dict(error.message_dict)
    except Refused as refused:
        return {refused.field or "worked": str(refused)}
    return {}


def _assign(line: FunctionLine, facts: LineFacts) -> None:
    saving.assign_values(line, vars(facts))
    if line.closed_on == ClosedOn.PIPE and line.pipe is None:
        line.pipe = line.record.function_test.pipe_in_hole
    _count(line)


def _count(line: FunctionLine) -> None:
    """Let the counter tell the volumes; raises Refused for one that runs back, or against a volume typed."""
    for movement, first, second in _counted(line):
        before, after = getattr(line, first), getattr(line, second)
        if before is None or after is None:
            continue
        if after.si <= before.si:
            raise Refused(second, "The counter stands no higher than before.", "Check both readings.")
        name = "closing_volume" if movement is Movement.CLOSE else "opening_volume"
        used = _difference(before, after)
        typed = getattr(line, name)
        if typed is not None and abs(typed.si - used.si) > 0.005 * used.si:
            raise Refused(name, f"The counter gives {used}.", "Leave this empty, or correct the counter readings.")
        setattr(line, name, used)


def _counted(line: FunctionLine) -> list[tuple[Movement, str, str]]:
    movements = Ways(line.worked).movements if line.worked in Worked else ()
    return [(movement, _COUNTERS[index], _COUNTERS[index + 1]) for index, movement in enumerate(movements)]


def _difference(before: Measured, after: Measured) -> Measured:
    if before.unit != after.unit:
        return Measured(f"{after.si - before.si:.6g}", "m^3", after.si - before.si)
    text = f"{float(after.text) - float(before.text):.9g}"
    return Measured(text, after.unit, after.si - before.si)


def _implausible(line: FunctionLine) -> dict[str, str]:
    """Return what no function takes, by field."""
    wrong: dict[str, str] = {}
    movements = Ways(line.worked).movements if line.worked in Worked else ()
    for name, movement in (("closing", Movement.CLOSE), ("opening", Movement.OPEN)):
        time, volume = getattr(line, f"{name}_time"), getattr(line, f"{name}_volume")
        if time is not None and not 0 < time.si <= LONGEST_S:
            wrong[f"{name}_time"] = "This is no time a function takes. Give it in seconds."
        if volume is not None and not 0 < volume.si <= _MOST_FLUID_M3:
            wrong[f"{name}_volume"] = "No function takes this much. Check the figure and its unit."
        if movement not in movements and (time is not None or volume is not None):
            field = f"{name}_time" if time is not None else f"{name}_volume"
            wrong[field] = f"By how it was worked there was no {name}. Change how it was worked, or leave this empty."
    return {**wrong, **_of_pipe(line)}


def _of_pipe(line: FunctionLine) -> dict[str, str]:
    if line.closed_on == ClosedOn.PIPE and line.pipe is None:
        return {"pipe": "Which pipe it closed on is not said, here or in the heading. Give its outside diameter."}
    if line.pipe is not None and not 0 < line.pipe.si <= _LARGEST_PIPE_M:
        return {"pipe": "No pipe is this size. Give its outside diameter."}
    if line.pipe is not None and line.closed_on != ClosedOn.PIPE:
        return {"pipe": "It did not close on pipe. Leave this empty, or say that it did."}
    if line.closed_on == ClosedOn.PIPE and line.component is not None and line.component.kind == "blind-ram":
        return {"closed_on": "A blind ram closes on no pipe. Say that it closed on open hole."}
    return {}
