"""One step as a mathematical program (CP-SAT).

Each cavity is under pressure, drained, or neither. That pressure comes from the pump point and that what is drained
runs to a vent is said by rank: every cavity but those has an open neighbour of its own kind and of lower rank. Without
rank two cavities could vouch for each other.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from ortools.sat.python import cp_model

from calcs.line_up_regions import Ground, Region

Slack = Callable[[cp_model.CpModel, str, str], list[cp_model.IntVar]]
WORKERS: Final = 1
"""One thread: these programs are small, and the same question then has the same answer."""


LEAST_SECONDS: Final = 0.01


def no_slack(_model: cp_model.CpModel, _kind: str, _name: str) -> list[cp_model.IntVar]:
    """Return nothing that would let a step off a rule."""
    return []


@dataclass(slots=True)
class Clockless:
    """Time given to a question, counted down by what the solver says it took.

    Attributes:
        left: seconds left.
        effort: what is left of the solver's own count of its work, the same on every machine at any load.
    """

    left: float
    effort: float = float("inf")

    @property
    def over(self) -> bool:
        """Tell whether either is used up."""
        return self.left <= 0 or self.effort <= 0

    def solve(
        self,
        model: cp_model.CpModel,
        seen: cp_model.CpSolverSolutionCallback | None = None,
        *,
        effort: float = float("inf"),
    ) -> tuple[cp_model.CpSolver, cp_model.CpSolverStatus]:
        """Solve a model in the time left, with no more than so much effort; return the solver and the status."""
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = WORKERS
        solver.parameters.max_time_in_seconds = max(self.left, LEAST_SECONDS)
        solver.parameters.max_deterministic_time = min(self.effort, effort)
        status = solver.solve(model, seen)
        self.left -= solver.wall_time
        self.effort -= solver.response_proto.deterministic_time
        return solver, status


@dataclass(slots=True)
class StepModel:
    """The step that is looked for.

    Attributes:
        ground: the system and its proofs.
        pipes: the pipe strings that may stand in the hole.
        levels: the pressures it may be pumped to, gauge, Pa.
        slack: gives what lets a step off a rule; nothing, but where the reason for a refusal is looked for.
        pressurised: by cavity, whether it is under pressure.
        drained: by cavity, whether it reaches a vent.
        pumped: by pump point, whether it is pumped from there.
        pipe: by pipe string, whether it stands in the hole.
        links: by two cavities, whether the first is what it is for being joined to the second.
        proved: by place of the proof, whether it is given.
    """

    ground: Ground
    pipes: Sequence[str]
    levels: Sequence[float]
    slack: Slack = no_slack
    model: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    pressurised: dict[str, cp_model.IntVar] = field(default_factory=dict)
    drained: dict[str, cp_model.IntVar] = field(default_factory=dict)
    pumped: dict[str, cp_model.IntVar] = field(default_factory=dict)
    pipe: dict[str, cp_model.IntVar] = field(default_factory=dict)
    links: dict[tuple[str, str], cp_model.IntVar] = field(default_factory=dict)
    proved: dict[int, cp_model.IntVar] = field(default_factory=dict)
    _level: dict[float, cp_model.IntVar] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Write the rules of a valid step down."""
        for cavity in self.ground.system.cavities:
            self.pressurised[cavity] = self.model.new_bool_var("")
            self.drained[cavity] = self.model.new_bool_var("")
            self.model.add_at_most_one(self.pressurised[cavity], self.drained[cavity])
        self._choose()
        self._vents()
        self._boundary()
        self._ratings()
        self._joined()
        for place in range(len(self.ground.proofs)):
            self._proof(place)

    def _off(self, kind: str, name: str) -> list[cp_model.IntVar]:
        return self.slack(self.model, kind, name)

    def _choose(self) -> None:
        """One pump point, one pipe, one pressure; of several pump points under pressure the first is pumped from."""
        self.pipe = {pipe: self.model.new_bool_var("") for pipe in self.pipes}
        self._level = {level: self.model.new_bool_var("") for level in self.levels}
        points = self.ground.system.pump_points
        self.pumped = {point: self.model.new_bool_var("") for point in points}
        self.model.add_exactly_one(self.pipe.values())
        self.model.add_exactly_one(self._level.values())
        self.model.add_exactly_one(*self.pumped.values(), *self._off("source", ""))
        for index, point in enumerate(points):
            self.model.add_implication(self.pumped[point], self.pressurised[point])
            for earlier in points[:index]:
                self.model.add_implication(self.pumped[point], ~self.pressurised[earlier])

    def _vents(self) -> None:
        for vent in self.ground.system.vents:
            self.model.add_bool_or(~self.pressurised[vent], *self._off("vent", vent))

    def _boundary(self) -> None:
        """Whatever stands against pressure holds from there and closes on the pipe."""
        for element in self.ground.system.elements:
            refused = [pipe for pipe in self.pipes if element.closes_on is not None and pipe not in element.closes_on]
            for side in element.between:
                beside = (~self.pressurised[side], self.pressurised[element.far_from(side)])
                if side not in element.holds_from:
                    self.model.add_bool_or(*beside, *self._off("hold", f"{element.id}\n{side}"))
                for pipe in refused:
                    self.model.add_bool_or(~self.pipe[pipe], *beside, *self._off("pipe", element.id))

    def _ratings(self) -> None:
        """No pressure where something is rated lower; each that is may be let off by itself."""
        own = self.ground.system.cavity_ratings
        for cavity, elements in self.ground.touching.items():
            for level, chosen in self._level.items():
                low = [element.id for element in elements if element.rating < level]
                low += [""] if own.get(cavity, level) < level else []
                for name in low:
                    off = self._off("rating", name or cavity)
                    self.model.add_bool_or(~chosen, ~self.pressurised[cavity], *off)

    def _joined(self) -> None:
        """Everything under pressure hangs on the pump point, everything drained on a vent."""
        cavities = self.ground.system.cavities
        vents = set(self.ground.system.vents)
        rank = {cavity: self.model.new_int_var(0, len(cavities) - 1, "") for cavity in cavities}
        for cavity, elements in self.ground.touching.items():
            from_beside = []
            for beside in dict.fromkeys(element.far_from(cavity) for element in elements):
                link = self.model.new_bool_var("")
                self.links[cavity, beside] = link
                from_beside.append(link)
                self._one_way(link, cavity, beside)
                for kind in (self.pressurised, self.drained):
                    self.model.add_bool_or(~link, ~kind[cavity], kind[beside])
                self.model.add(rank[cavity] > rank[beside]).only_enforce_if(link)
            pumped = [self.pumped[cavity]] if cavity in self.pumped else []
            self.model.add_bool_or(~self.pressurised[cavity], *pumped, *self._off("source", cavity), *from_beside)
            if cavity not in vents:
                self.model.add_bool_or(~self.drained[cavity], *from_beside)

    def _one_way(self, link: cp_model.IntVar, cavity: str, beside: str) -> None:
        """Where nothing comes from beside, no pressure does; where nothing gets there, nothing drains."""
        joining = [element for element in self.ground.touching[cavity] if element.far_from(cavity) == beside]
        if not any(element.lets_through(beside) for element in joining):
            self.model.add_bool_or(~link, ~self.pressurised[cavity])
        if not any(element.lets_through(cavity) for element in joining):
            self.model.add_bool_or(~link, ~self.drained[cavity])

    def _proof(self, place: int) -> None:
        proof = self.ground.proofs[place]
        far = self.ground.far(proof)
        given = self.model.new_bool_var("")
        self.proved[place] = given
        self.model.add_implication(given, self.pressurised[proof.side])
        self.model.add_implication(given, ~self.pressurised[far])
        self.model.add_bool_or(~given, self.drained[far], *self._off("drain", far))
        self.model.add_bool_or(~given, *(chosen for level, chosen in self._level.items() if level >= proof.high))

    def maximise(self, weights: Mapping[int, int]) -> None:
        """Look for the step whose proofs weigh most."""
        self.model.maximize(sum(weight * self.proved[place] for place, weight in weights.items()))

    def must_add_to(self, region: Region) -> None:
        """Ask for something the region does not prove."""
        self.model.add_bool_or(*(given for place, given in self.proved.items() if place not in region.proofs))

    def region_in(self, value: Callable[[cp_model.IntVar], int]) -> Region:
        """Return the region of a solution."""
        cavities = frozenset(cavity for cavity, chosen in self.pressurised.items() if value(chosen))
        point = next(point for point, chosen in self.pumped.items() if value(chosen))
        return self.ground.region(cavities, point)


class Seen(cp_model.CpSolverSolutionCallback):
    """Keeps the region of each solution on the way to the best: each is a step as well."""

    def __init__(self, step: StepModel) -> None:
        """Listen to solutions of that step."""
        super().__init__()
        self._step = step
        self.regions: list[Region] = []

    def on_solution_callback(self) -> None:
        """Keep the region."""
        self.regions.append(self._step.region_in(self.value))


def levels_of(proofs: Iterable[float]) -> list[float]:
    """Return the pressures worth pumping to: those asked for."""
    return sorted(set(proofs))
