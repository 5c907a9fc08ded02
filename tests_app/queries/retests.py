"""The tests made of what failed since, and for what each does or does not show it cured."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from calcs.retests import Demand, Shortfall, Shown, shortfalls
from tests_app.models import Defect, FunctionLine, Line, Outcome, Record, ShownBy
from tests_app.queries.component_tests import function_lines_of, lines_of_component
from tests_app.queries.corrections import is_corrected
from tests_app.queries.defects import Standing
from tests_app.queries.found_defects import closed_on_of, pipe_of, record_of_line

SHORTFALL_WORDS: Final[Mapping[Shortfall, str]] = {
    Shortfall.NOT_PASSED: "it did not pass",
    Shortfall.NOT_SEALED: "it is not sealed yet",
    Shortfall.CORRECTED: "it was corrected since",
    Shortfall.EARLIER: "it was made before the failure was found",
    Shortfall.BEFORE_THE_WORK: "it was made before the last work on it",
    Shortfall.OTHER_KIND: "it is another kind of test",
    Shortfall.OTHER_THING: "it is of another component",
    Shortfall.OTHER_PLACE: "it stood in another position",
    Shortfall.OTHER_SIDE: "the pressure was from another side",
    Shortfall.LOWER: "the pressure asked was lower",
    Shortfall.NO_LOW_TEST: "no low test was made",
    Shortfall.OTHER_PIPE: "it was closed on another pipe, or on none",
}
MOST_SHOWN: Final = 20


@dataclass(frozen=True)
class Retest:
    """One line about what failed, in a test of later."""

    line: Line | FunctionLine
    short_of: tuple[Shortfall, ...]

    @property
    def key(self) -> str:
        """The name it is chosen by."""
        return f"{'pressure' if isinstance(self.line, Line) else 'function'}-{self.line.pk}"

    @property
    def order(self) -> int:
        """The number of its step or line in the test."""
        return _order(self.line)

    @property
    def made_at(self) -> datetime:
        """When it was shown."""
        return _made_at(self.line)

    @property
    def record(self) -> Record:
        """The test it stands in."""
        return record_of_line(self.line)

    @property
    def shows_it_cured(self) -> bool:
        """Tell whether the defect may be closed by it."""
        return not self.short_of

    @property
    def words(self) -> str:
        """For what it does not show it cured, in words."""
        return "; ".join(SHORTFALL_WORDS[one] for one in self.short_of)


def retests_of(standing: Standing) -> list[Retest]:
    """Return the tests of what failed that were made since, the latest first, each with what it falls short of.

    A constant number of queries.
    """
    defect, demand = standing.defect, demand_of(standing)
    if defect.shown_by == ShownBy.NEITHER:
        return []
    lines: list[Line | FunctionLine] = [*_lines(defect)[: MOST_SHOWN * 2]]
    judged = [Retest(line, shortfalls(demand, _shown(defect, line))) for line in lines]
    return [one for one in judged if Shortfall.EARLIER not in one.short_of][:MOST_SHOWN]


def shortfalls_of(standing: Standing, line: Line | FunctionLine) -> Retest:
    """Return one line judged as a retest of a defect."""
    return Retest(line, shortfalls(demand_of(standing), _shown(standing.defect, line)))


def demand_of(standing: Standing) -> Demand:
    """Return what has to be shown before a defect is cured."""
    defect, work = standing.defect, standing.last_work
    return Demand(
        kind=defect.shown_by,
        thing=_thing(defect),
        place=str(defect.position_id or ""),
        side=defect.pressure_from,
        pressure=defect.pressure.si if defect.pressure else None,
        low_test=defect.low_asked,
        closed_on=defect.closed_on,
        pipe=defect.pipe.si if defect.pipe else None,
        worked_at=work.done_at if work else None,
    )


def _thing(row: Defect | Line | FunctionLine) -> str:
    control_item = None if isinstance(row, Line) else row.control_item_id
    return f"component {row.component_id}" if row.component_id else f"control item {control_item}"


def _lines(defect: Defect) -> list[Line | FunctionLine]:
    """Return the lines about what failed in tests that began late enough, the latest first."""
    began = _began_from(defect)
    if defect.shown_by == ShownBy.FUNCTION:
        subject = {"component": defect.component} if defect.component else {"control_item": defect.control_item}
        worked = function_lines_of(**{name: row for name, row in subject.items() if row is not None})
        return list(_signed(worked.filter(record__concluded_at__gte=began)[: MOST_SHOWN * 2]))
    assert defect.component is not None  # what a pressure test shows is a component
    pressed = lines_of_component(defect.component).select_related("step__record__pressure_test")
    return list(_signed(pressed.filter(step__record__concluded_at__gte=began)[: MOST_SHOWN * 2]))


def _began_from(defect: Defect) -> datetime:
    source = defect.line or defect.function_line
    return min(record_of_line(source).started_at, defect.found_at) if source else defect.found_at


def _signed(lines: Iterable[Line | FunctionLine]) -> Iterable[Line | FunctionLine]:
    return (line for line in lines if record_of_line(line).frozen_at is not None)


def _shown(defect: Defect, line: Line | FunctionLine) -> Shown:
    record = record_of_line(line)
    common: dict[str, Any] = {
        "thing": _thing(line),
        "at": _made_at(line),
        "later": _is_later(defect, line),
        "passed": line.outcome == Outcome.PASSED,
        "sealed": record.sealed_at is not None,
        "corrected": is_corrected(record),
        "place": str(line.position_id or ""),
    }
    if isinstance(line, FunctionLine):
        pipe = line.pipe.si if line.pipe else None
        return Shown(kind=ShownBy.FUNCTION, closed_on=line.closed_on, pipe=pipe, **common)
    held_on = pipe_of(record.pressure_test)
    return Shown(
        kind=ShownBy.PRESSURE,
        side=line.pressure_from,
        pressure=line.required_high.si,
        low_test=line.required_low_min is not None,
        closed_on=closed_on_of(line.component.kind, held_on),
        pipe=held_on.si if held_on else None,
        **common,
    )


def _made_at(line: Line | FunctionLine) -> datetime:
    """Return when it was shown: at the end of the hold where the clock is known, else of the test."""
    record = record_of_line(line)
    held = line.step.concluded_at if isinstance(line, Line) else None
    return held or record.concluded_at or record.started_at


def _is_later(defect: Defect, line: Line | FunctionLine) -> bool:
    """Tell whether a line was made after the failure: in the same test by its order, else by the clock."""
    source = defect.line or defect.function_line
    if source is not None and record_of_line(source).pk == record_of_line(line).pk:
        return _order(line) > _order(source)
    return _made_at(line) > defect.found_at


def _order(line: Line | FunctionLine) -> int:
    return line.step.order if isinstance(line, Line) else line.order
