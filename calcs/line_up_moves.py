"""Fewer movements in a given order: a few steps at a time are done otherwise, what stands before and after as it is.

Here the state of every element is chosen too, and with it the region: each window is as good as it can be for what it
has to prove. Windows overlap and are gone through until none gets better or the time is over, so the whole is good
without a proof that nothing moves less.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

from ortools.sat.python import cp_model

from calcs.line_up_model import Clockless, StepModel
from calcs.line_up_order import moved_between
from calcs.line_up_regions import Ground
from calcs.lineups import LineUp

WIDTHS: Final = (1, 2)
"""Steps done otherwise at a time."""
SWEEPS: Final = 3
WINDOW_EFFORT: Final = 0.25


@dataclass(slots=True)
class Window:
    """Steps that follow one another, looked for with the state of each element.

    Attributes:
        ground: the system and its proofs.
        steps: as they stand.
        needs: what they have to prove together, as places in the list of proofs.
        model: the program.
    """

    ground: Ground
    steps: Sequence[LineUp]
    needs: frozenset[int]
    model: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    _models: list[StepModel] = field(default_factory=list)
    _shut: list[dict[str, cp_model.IntVar]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Write every step down, with what it has to prove."""
        for step in self.steps:
            self._models.append(StepModel(self.ground, (step.pipe,), (step.pressure,), model=self.model))
            self._shut.append(self._states(self._models[-1], step))
        for place in self.needs:
            self.model.add_bool_or(step.proved[place] for step in self._models)

    def _states(self, step: StepModel, now: LineUp) -> dict[str, cp_model.IntVar]:
        """Return whether each element is closed: pressure passes what is open, and nothing else."""
        shut: dict[str, cp_model.IntVar] = {}
        between: dict[frozenset[str], list[cp_model.IntVar]] = {}
        for element in self.ground.system.elements:
            closed = shut[element.id] = self.model.new_bool_var("")
            self.model.add_hint(closed, element.id in now.closed)
            if element.closes_on is not None and now.pipe not in element.closes_on:
                self.model.add_bool_or(~closed)
            one, other = (step.pressurised[cavity] for cavity in element.between)
            self.model.add_bool_or(closed, ~one, other)
            self.model.add_bool_or(closed, one, ~other)
            between.setdefault(frozenset(element.between), []).append(closed)
        for ends, link in step.links.items():
            self.model.add_bool_or(~link, *(~closed for closed in between[frozenset(ends)]))
        return shut

    def eased(self, before: frozenset[str], after: frozenset[str], time: Clockless) -> list[LineUp] | None:
        """Return the steps with the fewest movements from `before` to `after`, or None where none is fewer."""
        moves = []
        for name in self._shut[0]:
            states: list[cp_model.IntVar | int] = [
                int(name in before),
                *(shut[name] for shut in self._shut),
                int(name in after),
            ]
            for one, other in pairwise(states):
                moves.append(self.model.new_bool_var(""))
                self.model.add(moves[-1] >= one - other)
                self.model.add(moves[-1] >= other - one)
        now = moved_between([before, *(step.closed for step in self.steps), after])
        self.model.add(sum(moves) <= now - 1)
        self.model.minimize(sum(moves))
        solver, status = time.solve(self.model, effort=WINDOW_EFFORT)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        return [self._line_up(solver, place) for place in range(len(self.steps))]

    def _line_up(self, solver: cp_model.CpSolver, place: int) -> LineUp:
        step = self.steps[place]
        point = next(point for point, chosen in self._models[place].pumped.items() if solver.value(chosen))
        closed = frozenset(name for name, shut in self._shut[place].items() if solver.value(shut))
        return LineUp(point, step.pipe, step.pressure, closed)


def eased(ground: Ground, order: Sequence[LineUp], wanted: Collection[int], time: Clockless) -> list[LineUp]:
    """Return steps that prove the same in as many steps with fewer movements, as far as windows and time allow."""
    steps, settled = list(order), set()
    given = [ground.given_by(step) for step in steps]
    for width in WIDTHS * SWEEPS:
        for start in range(len(steps) - width + 1):
            end = start + width
            before = steps[start - 1].closed if start else ground.system.normally_closed
            after = steps[end].closed if end < len(steps) else ground.system.normally_closed
            needs = frozenset(wanted).difference(*given[:start], *given[end:])
            looked_at = (start, before, tuple(steps[start:end]), after, needs)
            if looked_at in settled or time.over:
                continue
            settled.add(looked_at)
            if found := Window(ground, steps[start:end], needs).eased(before, after, time):
                steps[start:end] = found
                given[start:end] = [ground.given_by(step) for step in found]
                settled.add((start, before, tuple(found), after, needs))
    return steps
