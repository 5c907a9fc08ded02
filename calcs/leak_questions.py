"""What further steps can be asked about a leak, and the order of asking that takes the fewest in the worst case."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field

from ortools.sat.python import cp_model

from calcs.leak_search import FollowUp, Found, LeakSearch, Suspect
from calcs.line_up_model import Clockless, StepModel
from calcs.line_up_regions import Ground, Region
from calcs.line_up_rounds import nearest
from calcs.lineups import LineUp, Proof, System

Group = frozenset[int]
"""Suspects no step tells apart, by their places."""


def searched(
    system: System, failed: LineUp, suspects: tuple[Suspect, ...], cleared: tuple[Suspect, ...], seconds: float
) -> LeakSearch:
    """Return the fewest further steps for a question that has been checked."""
    search = _Search(system, failed, suspects, Clockless(seconds))
    groups = search.groups()
    depth, bound = search.depth(groups)
    together = tuple(search.named(group) for group in groups if len(group) > 1)
    return LeakSearch(search.tree(groups, depth), cleared, together, depth, bound, search.undecided)


@dataclass(slots=True)
class _Search:
    """What further steps can tell about the suspects.

    Attributes:
        steps: the steps found so far, by the suspects each tests.
        undecided: whether the time was over before an answer.
    """

    system: System
    failed: LineUp
    suspects: tuple[Suspect, ...]
    time: Clockless
    steps: dict[Group, LineUp] = field(default_factory=dict)
    undecided: bool = False
    _ground: Ground = field(init=False)
    _known: dict[tuple[frozenset[Group], int], Group | None] = field(default_factory=dict)

    def __post_init__(self) -> None:
        proofs = tuple(Proof(name, side, self.failed.pressure) for name, side in self.suspects)
        self._ground = Ground(self.system, proofs)

    def named(self, places: Collection[int]) -> tuple[Suspect, ...]:
        return tuple(self.suspects[place] for place in sorted(places))

    def groups(self) -> list[Group]:
        """Part the suspects for as long as some step tests one of a group and not another."""
        groups: list[Group] = [frozenset(range(len(self.suspects)))]
        while parting := self._parting(groups):
            groups = [part for group in groups for part in (group & parting, group - parting) if part]
        return groups

    def _parting(self, groups: Sequence[Group]) -> Group | None:
        """Return what a step tests that parts one of the groups, or None where none does."""
        several = [group for group in groups if len(group) > 1]
        for tests in self.steps:
            if any(group & tests and group - tests for group in several):
                return tests
        if not several:
            return None
        step = self._step()
        parted = []
        for group in several:
            parts = step.model.new_bool_var("")
            parted.append(parts)
            step.model.add_bool_or(*(step.proved[place] for place in group)).only_enforce_if(parts)
            step.model.add_bool_or(*(~step.proved[place] for place in group)).only_enforce_if(parts)
        step.model.add_bool_or(parted)
        step.model.maximize(sum(parted))
        return self._asked(step)

    def _step(self) -> StepModel:
        """Return a step that tells something: suspects stand against its pressure only where they are tested."""
        step = StepModel(self._ground, (self.failed.pipe,), (self.failed.pressure,))
        for place, (name, side) in enumerate(self.suspects):
            beyond = self._ground.far(self._ground.proofs[place])
            here, far = step.pressurised[side], step.pressurised[beyond]
            step.model.add_bool_or(~here, far, step.proved[place])
            if (name, beyond) not in self.suspects:
                step.model.add_bool_or(here, ~far)
        return step

    def _asked(self, step: StepModel) -> Group | None:
        """Return what the step that is looked for tests, keeping it, or None where there is none."""
        solver, status = self.time.solve(step.model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            self.undecided = self.undecided or status != cp_model.INFEASIBLE
            return None
        region = step.region_in(solver.value)
        self.steps.setdefault(region.proofs, self._line_up(region))
        return region.proofs

    def _line_up(self, region: Region) -> LineUp:
        """Return the region as a line-up, as near to the failed one as it goes."""
        closed = frozenset(element.id for element in self._ground.around(region.cavities))
        line_up = LineUp(region.pump_point, self.failed.pipe, self.failed.pressure, closed)
        return nearest(self.system, self.failed.closed, line_up, lambda other: self._tells(other, region.proofs))

    def _tells(self, line_up: LineUp, tests: Group) -> bool:
        """Tell whether a line-up is valid, tests these suspects, and has no other against its pressure."""
        if not self._ground.stands(line_up) or self._ground.given_by(line_up) != tests:
            return False
        cavities = self._ground.reached((line_up.pump_point,), line_up.closed)
        tested = {self.suspects[place][0] for place in tests}
        around = {element.id for element in self._ground.around(cavities)}
        return all(name in tested or name not in around for name, _ in self.suspects)

    def depth(self, groups: Sequence[Group]) -> tuple[int, int]:
        """Return how many steps tell the groups apart at most, and the number below which it can't be."""
        wanted = frozenset(groups)
        bound = depth = (len(groups) - 1).bit_length()
        while not self._told_in(wanted, depth):
            depth += 1
            bound = bound if self.undecided else depth
        return depth, bound

    def _told_in(self, groups: frozenset[Group], depth: int) -> bool:
        """Tell whether so many steps tell the groups apart, whatever they find."""
        if len(groups) <= 1:
            return True
        if len(groups) > 2**depth:
            return False
        if (groups, depth) not in self._known:
            self._known[groups, depth] = self._split(groups, depth)
        return self._known[groups, depth] is not None

    def _split(self, groups: frozenset[Group], depth: int) -> Group | None:
        """Return what to test first so that the steps left tell either part apart."""
        for tests in self._splits(groups, 2 ** (depth - 1)):
            leaking = frozenset(group for group in groups if group <= tests)
            if self._told_in(leaking, depth - 1) and self._told_in(groups - leaking, depth - 1):
                return tests
        return None

    def _splits(self, groups: frozenset[Group], most: int) -> Iterator[Group]:
        """Yield what steps can test of the groups, each way to part them once, neither part over `most` groups."""
        seen: set[frozenset[Group]] = set()
        for tests in tuple(self.steps):
            inside = frozenset(group for group in groups if group <= tests)
            if inside not in seen and inside and max(len(inside), len(groups - inside)) <= most and inside != groups:
                seen.add(inside)
                yield tests
        while not self.time.over:
            tests_found = self._asked(self._fresh(groups, most, seen))
            if tests_found is None:
                return
            seen.add(frozenset(group for group in groups if group <= tests_found))
            yield tests_found
        self.undecided = True

    def _fresh(self, groups: frozenset[Group], most: int, seen: Collection[frozenset[Group]]) -> StepModel:
        """Return a step that parts the groups in a way not seen before; one suspect of a group stands for all."""
        step = self._step()
        stands = {group: step.proved[min(group)] for group in groups}
        inside = sum(stands.values())
        step.model.add(inside >= max(1, len(groups) - most))
        step.model.add(inside <= min(most, len(groups) - 1))
        for each in seen:
            step.model.add_bool_or(*(~given if group in each else given for group, given in stands.items()))
        return step

    def tree(self, groups: Sequence[Group], depth: int) -> FollowUp | Found:
        """Return the search as it is done."""
        return self._branch(frozenset(groups), depth)

    def _branch(self, groups: frozenset[Group], depth: int) -> FollowUp | Found:
        if len(groups) <= 1:
            return Found(self.named(frozenset().union(*groups)))
        depth = next(fewer for fewer in range(depth + 1) if self._told_in(groups, fewer))
        tests = self._known[groups, depth]
        assert tests is not None
        leaking = frozenset(group for group in groups if group <= tests)
        suspected = frozenset().union(*groups)
        return FollowUp(
            self.steps[tests],
            self.named(tests & suspected),
            self._branch(leaking, depth - 1),
            self._branch(groups - leaking, depth - 1),
        )
