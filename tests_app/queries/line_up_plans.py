"""Plans of line-ups as they stand: what each step pressurises and proves, what nothing proves any more, and why.

Everything here is worked out by the verifier from the steps as they are, planned or changed by hand; nothing of it is
stored, so that a page can never show what a step proved before it was changed.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any, Final

from django.db.models import Count, QuerySet

from calcs.line_up_order import Movements, movements
from calcs.line_up_verifier import Shown
from calcs.lineups import LineUp, Proof, System
from calcs.units import Dimension, to_si
from equipment.errors import Refused
from equipment.models import Rig, Stack
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from equipment.queries.pressure_systems import contents_of, pressure_system_of
from tests_app.errors import NoRules
from tests_app.models import LineUpPlan, LineUpStep, PlanState
from tests_app.queries.line_up_copies import (
    ProofCopy,
    line_up_from,
    proof_from,
    shown_by,
    system_copy,
    system_from,
    unproved_by,
)
from tests_app.queries.line_up_needs import askable, circumstances_for

_TOLERANCE: Final = 1e-9
"""Relative; room for the conversion of units."""


@dataclass(frozen=True)
class SeenStep:
    """A step of a plan with what it comes to.

    Attributes:
        row: the step.
        shown: what the verifier says of it.
        first: what it is the first step to prove, of what is asked.
        again: what it proves once more, of what is asked.
        moves: what is closed and opened before it.
        changes_pipe: whether other pipe stands in the hole than in the step before.
        limits: what its hold is judged by; None where it proves nothing.
        faults: why it is not valid, in words.
    """

    row: LineUpStep
    shown: Shown
    first: tuple[ProofCopy, ...]
    again: tuple[ProofCopy, ...]
    moves: Movements
    changes_pipe: bool
    limits: Mapping[str, Any] | None
    faults: tuple[str, ...]

    @property
    def lines(self) -> tuple[ProofCopy, ...]:
        """Return what the step of a test opened from it is judged for: what it proves first, else what it repeats."""
        return self.first or self.again


@dataclass(frozen=True)
class SeenPlan:
    """A plan with what its steps come to.

    Attributes:
        plan: the plan.
        system: the pressure system it was made for.
        steps: in their order.
        unproved: what no step proves, though some step could.
        unprovable: what no step can prove, each with the reason.
        last_moves: what is closed and opened after the last step, back to drilling.
    """

    plan: LineUpPlan
    system: System
    steps: tuple[SeenStep, ...]
    unproved: tuple[ProofCopy, ...]
    unprovable: tuple[tuple[ProofCopy, str], ...]
    last_moves: Movements

    @property
    def is_whole(self) -> bool:
        """Tell whether every step is valid, and everything that can be proved is."""
        return not self.unproved and not any(step.faults for step in self.steps)

    @property
    def is_fewest(self) -> bool:
        """Tell whether no plan of what is asked has fewer steps."""
        bound = self.plan.lower_bound
        return self.is_whole and bound is not None and len(self.steps) <= bound

    @property
    def pipe_changes(self) -> int:
        """Return how often the pipe in the hole is changed between steps."""
        return sum(step.changes_pipe for step in self.steps)

    @property
    def moved(self) -> int:
        """Return how many elements are moved, from the drilling line-up and back to it."""
        return sum(len(step.moves) for step in self.steps) + len(self.last_moves)


def plans_visible(user: Viewer, rig: Rig) -> QuerySet[LineUpPlan]:
    """Return the rig's plans, the latest first, each with `step_count`; none out of the person's sight."""
    if not access.may(user, rig, Right.READ):
        return LineUpPlan.objects.none()
    found = LineUpPlan.objects.filter(rig=rig).select_related(*_WITH).defer("system", "proofs", "record__content")
    return found.annotate(step_count=Count("steps")).order_by("-made_at", "-number")


def plans_of_stack(stack: Stack) -> QuerySet[LineUpPlan]:
    """Return the plans of a stack, whoever asks: a view got the stack by a query that authorises."""
    return LineUpPlan.objects.filter(stack=stack).defer("system", "proofs")


def line_ups_of(plan: LineUpPlan) -> QuerySet[LineUpStep]:
    """Return the line-ups of a plan in their order."""
    return plan.steps.order_by("order")


_WITH: Final = ("rig", "stack__rig", "section__well", "made_by", "record", "failed_step__record")


def plan_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> LineUpPlan:
    """Return the plan; raises NotYours or NotAllowed."""
    found = LineUpPlan.objects.select_related(*_WITH).defer("record__content", "failed_step__record__content")
    return access.checked(user, found.filter(pk=pk).first(), needs=needs)


def plan_step_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> LineUpStep:
    """Return a step of a plan; raises NotYours or NotAllowed."""
    found = LineUpStep.objects.select_related(*(f"plan__{name}" for name in _WITH)).filter(pk=pk).first()
    if found is not None:
        plan_for(user, found.plan_id, needs=needs)
        return found
    return access.checked(user, None, needs=needs)


def waiting_plans(at: datetime, *, free_before: datetime) -> list[int]:
    """Return the keys of the plans no worker has: never taken up, or by one that has not answered since."""
    lost = LineUpPlan.objects.filter(state=PlanState.WORKING, claimed_at__lte=free_before)
    waiting = LineUpPlan.objects.filter(state=PlanState.WAITING, made_at__lte=at)
    return sorted({*lost.values_list("pk", flat=True), *waiting.values_list("pk", flat=True)})


def seen(plan: LineUpPlan) -> SeenPlan:
    """Return the plan with what its steps come to. One query."""
    system = system_from(plan.system)
    rows = list(plan.steps.select_related("opened_as").order_by("order"))
    shown = [shown_by(plan.system, system, line_up_from(row)) for row in rows]
    shut = [system.normally_closed, *(frozenset(row.closed) for row in rows), system.normally_closed]
    moves = [movements(system, before, after) for before, after in pairwise(shut)]
    asked = [(copy, proof_from(copy)) for copy in plan.proofs]
    given = list(_given(rows, shown, asked))
    refused = {(one["element"], one["side"]): one["why"] for one in plan.unprovable}
    proved = {_key(copy) for first, _ in given for copy in first}
    left = [copy for copy, _ in asked if _key(copy) not in proved]
    steps = (
        _seen_step(row, rows[place - 1] if place else None, shown[place], given[place], moves[place])
        for place, row in enumerate(rows)
    )
    return SeenPlan(
        plan=plan,
        system=system,
        steps=tuple(steps),
        unproved=tuple(copy for copy in left if _key(copy) not in refused),
        unprovable=tuple((copy, refused[_key(copy)]) for copy in left if _key(copy) in refused),
        last_moves=moves[-1],
    )


_Given = tuple[tuple[ProofCopy, ...], tuple[ProofCopy, ...]]


def _given(
    rows: Sequence[LineUpStep], shown: Sequence[Shown], asked: Sequence[tuple[ProofCopy, Proof]]
) -> Iterator[_Given]:
    """Yield of each step what it proves first, and what it proves again, of what is asked."""
    before: set[tuple[str, str]] = set()
    for row, each in zip(rows, shown, strict=True):
        here = [copy for copy, proof in asked if _proves(row, each, proof)]
        first = tuple(copy for copy in here if _key(copy) not in before)
        yield first, tuple(copy for copy in here if _key(copy) in before)
        before |= {_key(copy) for copy in first}


def _proves(row: LineUpStep, shown: Shown, proof: Proof) -> bool:
    high: float = row.pressure.si
    return (proof.element, proof.side) in shown.shows and high >= proof.high * (1 - _TOLERANCE)


def _key(copy: ProofCopy) -> tuple[str, str]:
    return copy["element"], copy["side"]


def _seen_step(row: LineUpStep, before: LineUpStep | None, shown: Shown, given: _Given, moves: Movements) -> SeenStep:
    first, again = given
    limits, conflict = limits_together([copy["limits"] for copy in first or again])
    return SeenStep(
        row=row,
        shown=shown,
        first=first,
        again=again,
        moves=moves,
        changes_pipe=before is not None and before.pipe != row.pipe,
        limits=limits,
        faults=(*shown.faults, *([conflict] if conflict else [])),
    )


_CONFLICT: Final = "No low hold lies in the bands of everything it proves. Prove some of it in a step of its own."


def limits_together(limits: Sequence[Mapping[str, Any]]) -> tuple[Mapping[str, Any] | None, str]:
    """Return what one hold that proves several elements is judged by, and why there is no such hold.

    The low hold lies in every band, the high one is the highest any needs, both last as long as the longest.
    """
    if not limits:
        return None, ""
    lows = [one["low"] for one in limits if one["low"]]
    low = {
        "min": max((one["min"] for one in lows), key=_pressure),
        "max": min((one["max"] for one in lows), key=_pressure),
        "restart_above": min((one["restart_above"] for one in lows), key=_pressure),
    } if lows else None  # fmt: skip
    conflict = _CONFLICT if low and _pressure(low["min"]) > _pressure(low["max"]) * (1 + _TOLERANCE) else ""
    together = {
        "low": low,
        "high": {"target": max((one["high"]["target"] for one in limits), key=_pressure)},
        "hold": max((one["hold"] for one in limits), key=_time),
        "hold_unrecorded": max((one["hold_unrecorded"] for one in limits), key=_time),
        **_low_hold(limits),
    }
    return together, conflict


def _low_hold(limits: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return how long the low hold lasts where that is less than the high one."""
    lasting = [one.get("low_hold", one["hold"]) for one in limits if one["low"]]
    low = max(lasting, key=_time, default=None)
    return {"low_hold": low} if low and _time(low) < max(_time(one["hold"]) for one in limits) else {}


def _pressure(limit: Mapping[str, Any]) -> float:
    return to_si(limit["value"], limit["unit"], Dimension.PRESSURE)


def _time(limit: Mapping[str, Any]) -> float:
    return to_si(limit["value"], limit["unit"], Dimension.TIME)


def pipes_of(steps: Iterable[LineUpStep]) -> list[str]:
    """Return the pipe strings of steps, the one of most steps first."""
    pipes = [step.pipe for step in steps]
    return sorted(dict.fromkeys(pipes), key=lambda pipe: -pipes.count(pipe))


@dataclass(frozen=True)
class Tried:
    """What a line-up that is not saved yet would come to.

    Attributes:
        shown: what the verifier says of it.
        proves: what it would prove of what is asked.
        unproved: what the plan would not prove with it, though some step could.
    """

    shown: Shown
    proves: tuple[ProofCopy, ...]
    unproved: tuple[ProofCopy, ...]


def tried(
    plan: LineUpPlan, pump_point: str, pipe: str, pressure: float, closed: Iterable[str], changed: str = ""
) -> Tried:
    """Return what a line-up would come to, in place of the step of key `changed` or beside all others. One query."""
    system = system_from(plan.system)
    trial = LineUp(pump_point, pipe, pressure, frozenset(closed))
    others = (line_up_from(row) for row in plan.steps.all() if str(row.pk) != changed)
    shown = shown_by(plan.system, system, trial)
    asked = [(copy, proof_from(copy)) for copy in plan.proofs]
    open_still = unproved_by(plan.system, system, [proof for _, proof in asked], [trial, *others])
    refused = {(one["element"], one["side"]) for one in plan.unprovable}
    return Tried(
        shown,
        tuple(copy for copy, proof in asked if (proof.element, proof.side) in shown.shows and pressure >= proof.high),
        tuple(copy for copy, proof in asked if proof in open_still and _key(copy) not in refused),
    )


def outdated(plan: LineUpPlan, *, at: datetime) -> str:
    """Return in words why a plan no longer fits what stands on the rig; empty where it does.

    The pressure system, what stands in it, the rules, the section: whatever a pressure or a rating hangs on.
    """
    found = pressure_system_of(plan.stack)
    if found is None:
        return "The stack has no pressure system any more."
    try:
        under = circumstances_for(plan.stack, section=plan.section, barrier=plan.barrier, reason=plan.reason, at=at)
        contents = contents_of(found, at=at)
        asked = {_place(one.copy()): one.copy() for one in askable(contents, under=under) if not one.refusal}
        system = system_copy(contents, plan.proofs, under=under)
    except (Refused, NoRules) as error:
        return str(error)
    if any(asked.get(_place(copy), {}).get("high") != copy["high"] for copy in plan.proofs):
        return "Other test pressures are required now than when it was made, or something else stands in a position."
    if any(asked[_place(copy)]["component"] != copy["component"] for copy in plan.proofs):
        return "Another component stands in one of the positions than when it was made."
    kept = {key: value for key, value in plan.system.items() if key != "sketch"}
    return "" if system == kept else "The pressure system was changed since it was made."


def _place(copy: ProofCopy) -> tuple[int, str]:
    return copy["position"], copy["pressure_from"]
