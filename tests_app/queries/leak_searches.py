"""What is asked when the leak of a failed step is searched: what it tested, and what earlier steps had proved."""

from dataclasses import dataclass

from django.db.models import QuerySet

from calcs.leak_search import Suspect
from calcs.line_up_verifier import simulate
from calcs.lineups import LineUp, System
from equipment.errors import Refused
from tests_app.models import LineUpPlan, LineUpStep, Outcome, Step
from tests_app.queries.line_up_copies import line_up_from, system_from

_FROM_A_PLAN = "Only a step of a test opened from a line-up plan says what was closed and open."


@dataclass(frozen=True)
class LeakQuestion:
    """Which of the elements a failed step tested leaks.

    Attributes:
        plan: the plan the failed step came from.
        system: the pressure system it was made for.
        failed: the failed line-up.
        suspects: every element it tested, asked for or not, and the side pressed on. What shuts nothing (a spool, a
            connector) is none: it leaks to the outside, where it is seen.
        proved: those of them that an earlier step of the test proved, at its pressure or a higher one.
    """

    plan: LineUpPlan
    system: System
    failed: LineUp
    suspects: tuple[Suspect, ...]
    proved: tuple[Suspect, ...]


def is_searchable(step: Step) -> bool:
    """Tell whether the leak of a step can be searched: it failed, and its line-up is known."""
    return step.outcome == Outcome.FAILED or step.lines.filter(outcome=Outcome.FAILED).exists()


def question_of(step: Step) -> LeakQuestion:
    """Return what is asked of a failed step. Raises Refused where it did not fail, or its line-up is not known."""
    if not is_searchable(step):
        raise Refused("", f"{step} did not fail: there is no leak to search.", "Search from a failed step.")
    row = LineUpStep.objects.select_related("plan").filter(opened_as=step).first()
    if row is None:
        raise Refused("", f"The line-up of {step} is not known. {_FROM_A_PLAN}", "Plan the test first, the next time.")
    system = system_from(row.plan.system)
    failed = line_up_from(row)
    suspects = tuple(sorted(simulate(system, failed).shows))
    held = [line_up_from(one) for one in _passed_before(row, step) if one.pressure.si >= failed.pressure]
    shown = {suspect for line_up in held for suspect in simulate(system, line_up).shows}
    return LeakQuestion(row.plan, system, failed, suspects, tuple(one for one in suspects if one in shown))


def _passed_before(row: LineUpStep, step: Step) -> QuerySet[LineUpStep]:
    """Return the line-ups of the plan whose steps passed before a step of the same test, no line of theirs failed."""
    earlier = Step.objects.filter(record=step.record_id, order__lt=step.order, outcome=Outcome.PASSED)
    clean = earlier.exclude(lines__outcome=Outcome.FAILED)
    return LineUpStep.objects.filter(plan=row.plan, opened_as__in=clean)
