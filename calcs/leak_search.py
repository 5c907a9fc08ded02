"""The fewest further steps that single out the leaking element of a step that failed.

Exactly one of the elements the failed step tested is taken to leak, from the side it was tested from. A further step
tests some of them again, at the same pressure (a lower one might not show the leak) and on the same pipe (on another
size the seal is another). It tells something only when every suspect that stands against its pressure is tested: one
that leaks into a cavity shut in would let the pressure fall unseen. What a step finds decides what is done next, and
the fewest steps means the fewest in the worst case.
"""

import importlib
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from calcs.errors import InputError
from calcs.line_up_checks import check_system
from calcs.lineups import LineUp, System

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
    found: LeakSearch = importlib.import_module("calcs.leak_questions").searched(system, failed, left, cleared, seconds)
    return found


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
