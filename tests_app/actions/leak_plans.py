"""Searching for the leak of a failed step: asked for from the test, and worked out as a plan of its own."""

import logging
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.models import User
from calcs.leak_search import FollowUp, Found, LeakSearch, Suspect, single_out
from calcs.line_up_verifier import simulate
from calcs.lineups import System
from equipment.actions.saving import aware
from equipment.errors import Refused
from tests_app.actions.line_up_plans import save_plan, tell_plan
from tests_app.after_commit import enqueue
from tests_app.models import LineUpPlan, PlanState, Step
from tests_app.queries.leak_searches import LeakQuestion, question_of

log = logging.getLogger(__name__)


@transaction.atomic
def find_leak(step: Step, *, by: User, at: datetime) -> LineUpPlan:
    """Ask for the fewest further steps that single out what leaks of a failed step; an unfinished search is given back.

    Raises Refused where the step did not fail, its line-up is not known, or nothing it tested is left to suspect.
    """
    running = step.leak_plans.filter(state__in=(PlanState.WAITING, PlanState.WORKING)).first()
    if running is not None:
        return running
    asked = question_of(step)
    if set(asked.suspects) <= set(asked.proved):
        raise Refused("", "Earlier steps proved everything this step tested.", "Look at the pump and the lines to it.")
    of = asked.plan
    plan = LineUpPlan(
        rig=of.rig,
        stack=of.stack,
        section=of.section,
        reason=of.reason,
        barrier=of.barrier,
        edition=of.edition,
        failed_step=step,
        finds_leak=True,
        system=of.system,
        proofs=[copy for copy in of.proofs if (copy["element"], copy["side"]) in asked.suspects],
        made_at=aware(at),
        made_by=by,
    )
    save_plan(plan)
    tell_plan("line-up-plan.leak-search-asked", plan, by=by, at=at)
    enqueue("tests_app.plan_line_ups", plan_id=plan.pk)
    return plan


def searched(plan: LineUpPlan, *, seconds: float) -> tuple[list[FollowUp], dict[str, Any]]:
    """Return the further steps in the order they are numbered, and what each outcome of theirs says.

    Raises Refused where the failed step is gone, or a step found does not stand up to the verifier.
    """
    if plan.failed_step is None:
        raise Refused("", "The failed step was taken out of its test.", "There is nothing to search any more.")
    asked = question_of(plan.failed_step)
    found = single_out(asked.system, asked.failed, asked.suspects, proved=asked.proved, seconds=seconds)
    steps = list(_in_order(found.first))
    if not all(_stands(asked.system, step) for step in steps):
        log.error("The search for a leak %s was refuted.", plan.pk)
        raise Refused("", "The steps found did not stand up to verification and are not shown.", "Please report it.")
    return steps, _told(asked, found, steps)


def _in_order(node: FollowUp | Found) -> Iterator[FollowUp]:
    if isinstance(node, FollowUp):
        yield node
        yield from _in_order(node.if_it_leaks)
        yield from _in_order(node.if_it_holds)


def _stands(system: System, node: FollowUp) -> bool:
    """Tell whether the verifier finds a further step valid, and testing what it is said to test."""
    shown = simulate(system, node.step)
    return not shown.faults and set(node.tests) <= shown.shows


def _told(asked: LeakQuestion, found: LeakSearch, steps: list[FollowUp]) -> dict[str, Any]:
    number = {id(step): order for order, step in enumerate(steps, start=1)}

    def then(node: FollowUp | Found) -> dict[str, Any]:
        return {"step": number[id(node)]} if isinstance(node, FollowUp) else {"among": _words(node.among)}

    return {
        "suspects": _words(tuple(one for one in asked.suspects if one not in found.cleared)),
        "cleared": _words(found.cleared),
        "together": [_words(group) for group in found.together if len(group) > 1],
        "most_steps": found.most_steps,
        "fewest_proven": found.fewest_proven,
        "first": then(found.first),
        "steps": [
            {
                "order": number[id(one)],
                "tests": _words(one.tests),
                "if_it_leaks": then(one.if_it_leaks),
                "if_it_holds": then(one.if_it_holds),
            }
            for one in steps
        ],
    }


def _words(suspects: tuple[Suspect, ...]) -> list[str]:
    return [f"{name} from {side}" for name, side in suspects]
