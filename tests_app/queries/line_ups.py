"""What one line-up can show at all: which elements a hold from one side proves together, and on which pipe."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from equipment.models import RAM_KINDS, Component, Measured
from tests_app.models import Step
from tests_app.queries.step_pipes import own_pipe, pipe_of

PREVENTERS = RAM_KINDS | {"annular"}
"""Kinds that close the bore of the stack."""
BLIND = frozenset({"blind-ram", "blind-shear-ram"})
"""Kinds that close on no pipe (common practice)."""
ON_PIPE = frozenset({"pipe-ram", "variable-bore-ram", "annular"})
"""Kinds that seal around the pipe they are made for; some annulars on open hole too (common practice)."""

_ROUNDING_M: Final = 1e-6
_HOW: Final = "how the ram was closed with pipe in the hole, naming the pipe"


@dataclass(frozen=True)
class PipeDoubt:
    """Why a preventer may not have closed on what stood in the hole, and what to do; `blocks` unless it is advice."""

    reason: str
    remedy: str
    blocks: bool = True


def pipe_doubts(step: Step) -> list[PipeDoubt]:
    """Return what does not agree between the preventers of a step and the pipe in the hole."""
    stated = stated_for(step)
    explained = own_pipe(step.remarks) is None and _is_explained(step.remarks)
    lines = [line for line in step.lines.all() if not (explained and line.component.kind in BLIND)]
    return [doubt for line in lines for doubt in doubts_of(line.component, stated, str(line.position))]


@dataclass(frozen=True)
class StatedPipe:
    """What stands in the hole, None for nothing, and where that is stated."""

    pipe: Measured | None
    says: str = "the heading says"
    states_none: str = "the heading states none"
    states_no_pipe: str = "the heading states no pipe"


def stated_for(step: Step) -> StatedPipe:
    """Return what is stated to stand in the hole in a step: by its own remarks, else by the heading of its test."""
    own = own_pipe(step.remarks)
    if own is None:
        return StatedPipe(step.record.pressure_test.pipe_in_hole)
    return StatedPipe(pipe_of(own), "its remarks say", "its remarks state none", "its remarks state no pipe")


def doubts_of(component: Component, stated: StatedPipe, name: str) -> Iterator[PipeDoubt]:
    """Say what a preventer in a position called `name` can not show with the pipe that is stated."""
    pipe = stated.pipe
    if component.kind in BLIND and pipe is not None:
        yield PipeDoubt(
            f"{name} closes on no pipe, and {stated.says} pipe of {pipe} stands in the hole.",
            f"Make a test of its own without pipe, or write in the step's remarks {_HOW}.",
        )
    elif component.kind in ON_PIPE and pipe is None:
        yield from _without_pipe(component, stated, name)
    elif component.kind in ON_PIPE and pipe is not None:
        yield from _on_pipe(component, stated, name, pipe)


def _without_pipe(component: Component, stated: StatedPipe, name: str) -> Iterator[PipeDoubt]:
    if component.closes_on_open_hole:
        return
    if component.kind != "annular":
        yield PipeDoubt(
            f"{name} closes on pipe, and {stated.states_none}.",
            "Enter in the heading the pipe it was closed on.",
        )
    elif component.closes_on_smallest is not None or component.closes_on_largest is not None:
        yield PipeDoubt(
            f"{name} is not on file as sealing with no pipe in the hole, and {stated.states_no_pipe}.",
            "Enter in the heading the pipe it was closed on, or enter on its page that it seals without pipe.",
        )


def _on_pipe(component: Component, stated: StatedPipe, name: str, pipe: Measured) -> Iterator[PipeDoubt]:
    smallest, largest = component.closes_on_smallest, component.closes_on_largest
    if smallest is None and largest is None:
        yield PipeDoubt(
            f"No pipe size is on file for {name}: nothing tells that it closes on {pipe}.",
            "Enter on its page the smallest and the largest pipe it closes on.",
            blocks=False,
        )
    elif not _contains(smallest, largest, pipe):
        yield PipeDoubt(
            f"{name} closes on {_range(smallest, largest)}, and {stated.says} pipe of {pipe} stands in the hole.",
            "Correct the pipe in the heading or the sizes on the component's page, or test it on pipe it closes on.",
        )


def _contains(smallest: Measured | None, largest: Measured | None, pipe: Measured) -> bool:
    over = smallest is None or pipe.si >= smallest.si - _ROUNDING_M
    return over and (largest is None or pipe.si <= largest.si + _ROUNDING_M)


def _range(smallest: Measured | None, largest: Measured | None) -> str:
    if smallest is None or largest is None:
        return f"nothing under {smallest}" if smallest is not None else f"nothing over {largest}"
    return f"{smallest} only" if smallest.si == largest.si else f"{smallest} to {largest}"


def _is_explained(remarks: str) -> bool:
    return re.search(r"\bpipe\b", remarks.casefold()) is not None
