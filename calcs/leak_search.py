"""The fewest further steps that single out the leaking element of a step that failed.

Exactly one of the elements the failed step tested is taken to leak, from the side it was tested from. A further step
tests some of them again, at the same pressure (a lower one might not show the leak) and on the same pipe (on another
size the seal is another). It tells something only when every suspect that stands against its pressure is tested: one
that leaks into a cavity shut in would let the pressure fall unseen. What a step finds decides what is done next, and
the fewest steps means the fewest in the worst case.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field

from ortools.sat.python import cp_model

from calcs.errors import InputError
from calcs.line_up_checks import check_system
from calcs.line_up_model import Clockless, StepModel
from calcs.line_up_regions import Ground, Region
from calcs.line_up_rounds import nearest
from calcs.lineups import LineUp, Proof, System

Suspect = tuple[str, str]
"""An element and the side it was tested from."""


@dataclass(frozen=True, slots=True)
class FollowUp:
    """A further step, and what follows from it.

    Attributes:
        step: the step.
        tests: the suspects it tests again.
        if_it_leaks: what remains when a leak shows again.
        if_it_holds: what remains when none does.
    """

    step: LineUp
    tests: tuple[Suspect, ...]
    if_it_leaks: "FollowUp | Found"
    if_it_holds: "FollowUp | Found"


@dataclass(frozen=True, slots=True)
class Found:
    """The end of a search: the suspects of which one leaks; several where no step tells them apart."""

    among: tuple[Suspect, ...]


@dataclass(frozen=True, slots=True)
class LeakSearch:
    """How the leaking element is found.

    Attributes:
        first: the first further step, or what is found without one.
        cleared: what the failed step tested and an earlier step had proved, so that it is not suspected.
        together: groups of suspects that no step tells apart.
        most_steps: how many steps it takes at most.
        lower_bound: no way takes fewer at most.
        undecided: whether the time was over before all groups were told apart.
    """

    first: FollowUp | Found
    cleared: tuple[Suspect, ...]
    together: tuple[tuple[Suspect, ...], ...]
    most_steps: int
    lower_bound: int
    undecided: bool = False

    @property
    def fewest_proven(self) -> bool:
        """Tell whether no way takes fewer steps at most."""
        return self.most_steps == self.lower_bound and not self.undecided


def single_out(
    system: System,
    failed: LineUp,
    suspects: Sequence[Suspect],
    *,
    proved: Collection[Suspect] = (),
    seconds: float = 10.0,
) -> LeakSearch:
    """Return the fewest further steps that tell which of the suspects leaks.

    `suspects` is what the failed step tested; what earlier steps proved at its pressure or a higher one stands in
    `proved`. Raises InputError where one of them is not of the system, or all of them are proved.
    """
    check_system(system)
    _check_suspects(system, failed, suspects)
    cleared = tuple(each for each in dict.fromkeys(suspects) if each in set(proved))
    left = tuple(each for each in dict.fromkeys(suspects) if each not in cleared)
    if not left:
        raise InputError("proved", "Every element the step tested was proved before.", "Suspect one of them anew.")
    time = Clockless(seconds)
    search = _Search(system, failed, left, time)
    groups = search.groups()
    depth, bound = search.depth(groups)
    together = tuple(search.named(group) for group in groups if len(group) > 1)
    return LeakSearch(search.tree(groups, depth), cleared, together, depth, bound, search.undecided)


def _check_suspects(system: System, failed: LineUp, suspects: Sequence[Suspect]) -> None:
    elements = {element.id: element for element in system.elements}
    if not suspects:
        raise InputError("suspects", "There is none.", "Name what the failed step tested.")
    for index, (name, side) in enumerate(suspects):
        if name not in elements or side not in elements[name].between:
            raise InputError(f"suspects.{index}", f"There is no '{name}' at '{side}'.", "Name an element and its side.")
    if failed.pipe not in system.pipe_strings:
        raise InputError("failed.pipe", f"'{failed.pipe}' is not among the pipe strings.", "Name one of them.")
    if not failed.pressure > 0:
        raise InputError("failed.pressure", "A pressure over zero is expected.", "Give that of the failed step.")


Group = frozenset[int]
"""Suspects no step tells apart, by their places."""


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
