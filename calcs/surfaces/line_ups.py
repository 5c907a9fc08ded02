"""The surface ``line-ups``."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

from calcs.errors import InputError
from calcs.fields import Fields, quoted
from calcs.line_up_checks import check_question
from calcs.line_up_order import Movements, movements
from calcs.line_up_verified import verified_plan
from calcs.line_up_verifier import simulate
from calcs.lineups import NO_PIPE, Element, LineUp, Plan, Proof, System
from calcs.rules import Edition
from calcs.surfaces.answers import quantity
from calcs.units import Dimension
from calcs.units import System as Units

USUAL_SECONDS: Final = 10.0
MOST_SECONDS: Final = 60.0


@dataclass(frozen=True, slots=True)
class LineUpsQuestion:
    """A pressure system, what has to be proved of it, and how long may be searched."""

    system: System
    proofs: tuple[Proof, ...]
    seconds: float


@dataclass(frozen=True, slots=True)
class LineUpsAnswer:
    """The question and its plan."""

    asked: LineUpsQuestion
    plan: Plan


def parse_line_ups(fields: Fields, _: Sequence[Edition]) -> LineUpsQuestion:
    """Read the system, the proofs and the time limit."""
    seconds = fields.si("time_limit", Dimension.TIME) if fields.has("time_limit") else USUAL_SECONDS
    if not 0 < seconds <= MOST_SECONDS:
        raise InputError("time_limit", f"{seconds:g} s is no time to search for.", f"Give up to {MOST_SECONDS:g} s.")
    asked = LineUpsQuestion(read_system(fields), read_proofs(fields), seconds)
    check_question(asked.system, asked.proofs)
    return asked


def read_system(fields: Fields) -> System:
    """Read a pressure system; without ``pipe_strings`` an empty hole and whatever an element is said to close on."""
    elements = tuple(_element(one) for one in fields.objects("elements"))
    named = dict.fromkeys(pipe for element in elements for pipe in sorted(element.closes_on or ()))
    return System(
        elements,
        fields.texts("pump_points"),
        fields.texts("vents"),
        _ratings(fields),
        fields.texts("pipe_strings") if fields.has("pipe_strings") else tuple(dict.fromkeys((NO_PIPE, *named))),
        frozenset(fields.texts("normally_closed")),
    )


def _element(one: Fields) -> Element:
    between = one.texts("between")
    if len(between) != 2:
        raise InputError(one.path("between"), "Two cavities are expected.", 'For instance ["bore", "choke line"].')
    closes_on = frozenset(one.texts("closes_on")) if one.has("closes_on") else None
    return Element(
        one.text("id"),
        one.text("kind"),
        (between[0], between[1]),
        frozenset(one.texts("holds_from")),
        one.si("rating", Dimension.PRESSURE),
        closes_on,
    )


def _ratings(fields: Fields) -> dict[str, float]:
    given: Mapping[str, Any] = fields.any("cavity_ratings", {})
    ratings = fields.object("cavity_ratings", {})
    if not all(isinstance(cavity, str) for cavity in given):
        raise InputError("cavity_ratings", f"{quoted(given)} names no cavities.", "Give a rating for each cavity.")
    return {cavity: ratings.si(cavity, Dimension.PRESSURE) for cavity in given}


def read_proofs(fields: Fields) -> tuple[Proof, ...]:
    """Read what has to be proved."""
    return tuple(
        Proof(one.text("element"), one.text("from"), one.si("high", Dimension.PRESSURE))
        for one in fields.objects("proofs")
    )


def compute_line_ups(asked: LineUpsQuestion) -> LineUpsAnswer:
    """Answer the question."""
    return LineUpsAnswer(asked, verified_plan(asked.system, asked.proofs, seconds=asked.seconds))


def format_line_ups(found: LineUpsAnswer, units: Units) -> dict[str, Any]:
    """Write the steps in their order, the bound and why it holds, and what can't be proved."""
    system, plan = found.asked.system, found.plan
    shut = [system.normally_closed, *(step.closed for step in plan.steps), system.normally_closed]
    moves = [movements(system, before, after) for before, after in pairwise(shut)]
    return {
        "steps": [_step(found, step, moved, units) for step, moved in zip(plan.steps, moves, strict=False)],
        "moves_back": _moves(moves[-1]) if plan.steps else [],
        "movements": sum(len(moved) for moved in moves),
        "fewest_proven": plan.fewest_proven,
        "lower_bound": plan.lower_bound,
        "because": plan.because,
        "unprovable": [
            {"element": each.proof.element, "from": each.proof.side, "why": each.why} for each in plan.unprovable
        ],
    }


def _step(found: LineUpsAnswer, step: LineUp, moved: Movements, units: Units) -> dict[str, Any]:
    system, shows = found.asked.system, simulate(found.asked.system, step).shows
    ids = [element.id for element in system.elements]
    return {
        "pump_point": step.pump_point,
        "pipe": step.pipe,
        "pressure": quantity(step.pressure, Dimension.PRESSURE, units),
        "closed": [name for name in ids if name in step.closed],
        "open": [name for name in ids if name not in step.closed],
        "proves": [
            {"element": proof.element, "from": proof.side}
            for proof in found.asked.proofs
            if (proof.element, proof.side) in shows and proof.high <= step.pressure
        ],
        "moves": _moves(moved),
    }


def _moves(moved: Movements) -> list[dict[str, str]]:
    """Write movements, what is opened first."""
    return [
        *({"element": name, "to": "open"} for name in moved.open),
        *({"element": name, "to": "closed"} for name in moved.close),
    ]
