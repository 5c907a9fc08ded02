"""Opening a pressure test from a plan: its heading as filled in, its steps and lines as the plan has them."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final

from django.db import transaction

from accounts.models import User
from equipment.errors import Refused
from equipment.models import HoleSection, Instrument, Position
from tests_app.actions import pressure_tests, steps
from tests_app.actions.line_up_plans import hold_plan, mark_plan_changed
from tests_app.actions.pressure_tests import Heading
from tests_app.actions.steps import LineSpec
from tests_app.models import LineUpPlan, PlanState, Record, Step
from tests_app.queries.line_up_plans import SeenStep, outdated, seen
from tests_app.queries.step_pipes import pipe_of, pipe_sentence
from trail import entries

_LONGEST_NAME: Final = 80
_FEW: Final = 2


@transaction.atomic
def open_test_of_plan(
    plan: LineUpPlan,
    *,
    section: HoleSection | None,
    heading: Heading,
    instruments: Sequence[Instrument],
    version: int,
    by: User,
    at: datetime,
) -> Record:
    """Open a draft with the steps of a plan that prove something, in its order; the plan stays as it is from then on.

    A step made on other pipe than the heading states says so in its remarks, which the certificate prints. Steps that
    are not valid are refused: what they prove is nothing. Raises as `open_pressure_test` and `add_step` do.
    """
    held = hold_plan(plan, version=version, at_rest=True)
    found = seen(held).steps if held.state == PlanState.READY else ()
    _refuse_unfit(held, found, heading, section, at)
    record = pressure_tests.open_pressure_test(
        rig=held.rig,
        stack=held.stack,
        section=section,
        heading=replace(heading, plan_reference=heading.plan_reference or f"Line-up plan {held.number}"),
        instruments=instruments,
        by=by,
        at=at,
    )
    for step in found:
        if step.lines:
            step.row.opened_as = _opened(record, step, by=by, at=at)
            step.row.save()
    held.record = record
    mark_plan_changed(held)
    entries.write(
        "line-up-plan.test-opened", held, by=by, at=at, rig_number=held.rig_id, after={"record": record.number}
    )
    return record


def _refuse_unfit(
    plan: LineUpPlan, found: Sequence[SeenStep], heading: Heading, section: HoleSection | None, at: datetime
) -> None:
    if not any(step.lines for step in found):
        raise Refused("", "This plan proves nothing: no test can be opened from it.", "Plan it again, or add a step.")
    faulty = [step for step in found if step.faults]
    if faulty:
        reason = f"Step {faulty[0].row.order} is not valid: {' '.join(faulty[0].faults)}"
        raise Refused("", reason, "Change it or take it out of the plan.")
    if (heading.reason, heading.barrier, section) != (plan.reason, plan.barrier, plan.section):
        raise Refused(
            "section" if section != plan.section else "reason" if heading.reason != plan.reason else "barrier",
            "The plan was made for another section, reason or plug: other pressures may be required.",
            "Leave these three as the plan has them, or make a new plan.",
        )
    why = outdated(plan, at=at)
    if why:
        raise Refused("", f"The plan no longer fits. {why}", "Plan it again: pinned steps stay.")


def _opened(record: Record, step: SeenStep, *, by: User, at: datetime) -> Step:
    stated = record.pressure_test.pipe_in_hole
    own = pipe_of(step.row.pipe)
    same = (own is None) == (stated is None) and (own is None or abs(own.si - stated.si) < _SAME_M)
    names = [copy["element"] for copy in step.lines]
    return steps.add_step(
        record,
        name=_name(names),
        pump_point=step.row.pump_point,
        lines=[LineSpec(_position(record, copy["position"]), copy["pressure_from"]) for copy in step.lines],
        remarks="" if same else pipe_sentence(step.row.pipe),
        by=by,
        at=at,
    )


_SAME_M: Final = 1e-6


def _position(record: Record, pk: int) -> Position:
    found: Position = record.stack.positions.get(pk=pk)
    return found


def _name(names: Sequence[str]) -> str:
    """Return a name for a step after what it proves: ``Upper pipe ram, Outer kill valve and 2 more``."""
    once = list(dict.fromkeys(names))
    shown = once if len(once) <= _FEW + 1 else [*once[:_FEW], f"{len(once) - _FEW} more"]
    *first, last = shown
    return (f"{', '.join(first)} and {last}" if first else last)[:_LONGEST_NAME]
