"""What a page and a paper say of a step of a plan: what is closed, open and moved, what it proves and how high."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from calcs.lineups import NO_PIPE
from tests_app.models import PressureFrom
from tests_app.queries.line_up_copies import ProofCopy
from tests_app.queries.line_up_plans import SeenPlan, SeenStep

EMPTY_HOLE: Final = "No pipe: empty hole"


def pipe_words(pipe: str) -> str:
    """Return a pipe string as people say it."""
    return EMPTY_HOLE if pipe == NO_PIPE else f"{pipe} pipe"


@dataclass(frozen=True)
class ProofRow:
    """One element a step proves.

    Attributes:
        element: its name.
        side: the side pressed on, in words.
        high: the pressure it needs, as kept.
        clause: the clause that asks for it.
        again: whether an earlier step proves it already.
    """

    element: str
    side: str
    high: Mapping[str, Any]
    clause: str
    again: bool = False


@dataclass(frozen=True)
class StepFacts:
    """A step of a plan, every figure as it is shown.

    Attributes:
        seen: the step with what it comes to.
        pipe: the pipe in the hole, in words.
        closed: what is closed, in the order of the system.
        open: what is open.
        proves: what it proves of what is asked, what it proves first before the rest.
        besides: what it would show besides, that nobody asked for.
    """

    seen: SeenStep
    pipe: str
    closed: tuple[str, ...]
    open: tuple[str, ...]
    proves: tuple[ProofRow, ...]
    besides: tuple[str, ...]

    @property
    def order(self) -> int:
        """Return its number."""
        return self.seen.row.order

    @property
    def name(self) -> str:
        """Return what it is there for, in a few words."""
        names = list(dict.fromkeys(row.element for row in self.proves if not row.again))
        if not names:
            return "Proves nothing new"
        return ", ".join(names[:_FEW]) + (f" and {len(names) - _FEW} more" if len(names) > _FEW else "")


_FEW: Final = 3


def facts_of(found: SeenPlan) -> list[StepFacts]:
    """Return the facts of every step of a plan."""
    names = [element.id for element in found.system.elements]
    return [_facts(found, step, names) for step in found.steps]


def _facts(found: SeenPlan, step: SeenStep, names: Sequence[str]) -> StepFacts:
    closed = frozenset(step.row.closed)
    rows = (*(proof_row(copy) for copy in step.first), *(proof_row(copy, again=True) for copy in step.again))
    asked = {(copy["element"], copy["side"]) for copy in found.plan.proofs}
    return StepFacts(
        seen=step,
        pipe=pipe_words(step.row.pipe),
        closed=tuple(name for name in names if name in closed),
        open=tuple(name for name in names if name not in closed),
        proves=rows,
        besides=tuple(f"{name} from {side}" for name, side in sorted(step.shown.shows - asked)),
    )


def proof_row(copy: ProofCopy, *, again: bool = False) -> ProofRow:
    """Return a proof as it is shown."""
    side = str(PressureFrom(copy["pressure_from"]).label).lower()
    return ProofRow(copy["element"], side, copy["high"], copy["clause"], again)
