"""The search for a plan: the fewest regions, on the fewest pipe strings, as line-ups in their order."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final

from calcs.line_up_cover import Cover
from calcs.line_up_model import Clockless
from calcs.line_up_moves import Window, eased
from calcs.line_up_reasons import in_series, unprovable
from calcs.line_up_regions import Ground, Region
from calcs.line_up_rounds import in_order, nearest
from calcs.lineups import LineUp, Plan, Proof, System

_NUMBERS: Final = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")  # fmt: skip
EASING_EFFORT: Final = 0.5
"""Of the solver, for fewer movements: some two seconds of one core."""
FIRST_SECONDS: Final = 30.0
"""A first plan is looked for so long at least, however little time is given: half a plan is none."""


def searched(system: System, proofs: Sequence[Proof], seconds: float) -> Plan:
    """Return the fewest steps for a question that has been checked."""
    ground, time = Ground(system, tuple(proofs)), Clockless(seconds)
    cover = Cover(ground, system.pipe_strings, Clockless(max(seconds, FIRST_SECONDS)))
    cover.find_first()
    cover.time = time
    cover.find_least()
    chosen, pipes = _on_few_pipes(cover)
    refused = unprovable(ground, cover.unprovable, cover.undecided, Clockless(seconds))
    steps = _steps(ground, chosen, pipes, cover.provable, Clockless(max(time.left, seconds / 2)))
    return Plan(tuple(steps), cover.bound, refused, _because(ground, cover), bool(cover.undecided))


def _on_few_pipes(cover: Cover) -> tuple[tuple[Region, ...], frozenset[str]]:
    """Return as few regions that the fewest pipe strings serve, and those pipe strings."""
    for count in range(1, len(cover.pipes) + 1):
        several = [frozenset(pipes) for pipes in combinations(cover.pipes, count)]
        for pipes in several:
            if _serve(pipes, cover.chosen):
                return cover.chosen, pipes
        for pipes in several:
            if chosen := _cover_on(cover, pipes):
                return chosen, pipes
    return cover.chosen, frozenset(cover.pipes)


def _serve(pipes: frozenset[str], chosen: Sequence[Region]) -> bool:
    return all(region.pipes & pipes for region in chosen)


def _cover_on(cover: Cover, pipes: frozenset[str]) -> tuple[Region, ...] | None:
    """Return a cover on these pipe strings alone that is as small; None where there is none, or no time to find it."""
    if cover.time.over or not _could_close(cover, pipes):
        return None
    known = {proofs: region for proofs, region in cover.regions.items() if region.pipes & pipes}
    other = Cover(cover.ground, tuple(sorted(pipes)), cover.time, aim=len(cover.chosen), regions=known)
    other.find_first()
    if set(other.provable) != set(cover.provable):
        return None
    other.find_least()
    return other.chosen if len(other.chosen) <= len(cover.chosen) else None


def _could_close(cover: Cover, pipes: frozenset[str]) -> bool:
    """Tell whether every element to be proved closes on one of these pipe strings at all."""
    asked = {cover.ground.proofs[place].element for place in cover.provable}
    closes_on = [element.closes_on for element in cover.ground.system.elements if element.id in asked]
    return all(sizes is None or sizes & pipes for sizes in closes_on)


def _steps(
    ground: Ground, chosen: Sequence[Region], pipes: frozenset[str], provable: Sequence[int], time: Clockless
) -> list[LineUp]:
    """Return the regions as line-ups in their order, each at the highest pressure its own proofs need.

    Once they are in order a step may be done otherwise, next to those before and after it; then each pressure and the
    order are settled for good.
    """
    needs = _shared_out(ground, [region.proofs for region in chosen], provable)
    asked = [(region, need) for region, need in zip(chosen, needs, strict=True) if need]
    first = [_variants(ground, region, need, pipes, time) for region, need in asked]
    order = _ordered(ground, first, [need for _, need in asked], time)
    order = eased(ground, order, provable, Clockless(time.left, EASING_EFFORT))
    needs = _shared_out(ground, [ground.given_by(step) for step in order], provable)
    last = [[_pumped(ground, step, need)] for step, need in zip(order, needs, strict=True) if need]
    return _ordered(ground, last, [need for need in needs if need], time)


def _ordered(
    ground: Ground, variants: Sequence[Sequence[LineUp]], needs: Sequence[frozenset[int]], time: Clockless
) -> list[LineUp]:
    return in_order(ground.system, variants, lambda place, line_up: _gives(ground, line_up, needs[place]), time)


def _shared_out(ground: Ground, gives: Sequence[frozenset[int]], provable: Sequence[int]) -> list[frozenset[int]]:
    """Give each proof to one step of those that give it, to one pumped as high for another proof where there is one."""
    shared: list[set[int]] = [set() for _ in gives]
    givers = {place: [step for step, given in enumerate(gives) if place in given] for place in provable}
    for place in sorted(provable, key=lambda place: (len(givers[place]) > 1, -ground.proofs[place].high)):
        reached = {step: _needed(ground, shared[step]) for step in givers[place]}
        high = ground.proofs[place].high
        shared[min(reached, key=lambda step: (max(high - reached[step], 0), reached[step]))].add(place)
    return [frozenset(places) for places in shared]


def _needed(ground: Ground, need: Collection[int]) -> float:
    """Return the pressure the proofs need."""
    return max((ground.proofs[place].high for place in need), default=0.0)


def _pumped(ground: Ground, step: LineUp, need: frozenset[int]) -> LineUp:
    return replace(step, pressure=_needed(ground, need))


def _variants(
    ground: Ground, region: Region, need: frozenset[int], pipes: frozenset[str], time: Clockless
) -> list[LineUp]:
    """Return the region as a line-up for each pipe it can be done on, as near to the drilling line-up as it goes."""
    drilling = ground.system.normally_closed
    closed = frozenset(element.id for element in ground.around(region.cavities))
    variants = []
    for pipe in ground.system.pipe_strings:
        if pipe in region.pipes & pipes:
            plain = LineUp(region.pump_point, pipe, _needed(ground, need), closed)
            near = nearest(ground.system, drilling, plain, lambda other: _gives(ground, other, need))
            nearer = Window(ground, (near,), need).eased(drilling, drilling, time)
            variants.append(nearer[0] if nearer else near)
    return variants


def _gives(ground: Ground, line_up: LineUp, need: frozenset[int]) -> bool:
    """Tell whether a line-up is valid and gives the proofs."""
    return ground.stands(line_up) and need <= ground.given_by(line_up)


def _because(ground: Ground, cover: Cover) -> str:
    """Say why no fewer steps will do, where proofs that no step gives together are as many."""
    names = list(dict.fromkeys(ground.proofs[place].element for place in sorted(cover.apart)))
    if len(cover.apart) < 2 or len(cover.apart) < cover.bound:
        return ""
    count = len(cover.apart)
    number = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
    listed = ", ".join(
        f"{ground.proofs[place].element} from {ground.proofs[place].side}" for place in sorted(cover.apart)
    )
    series = len(names) == count and in_series(ground.system, names, Clockless(1))
    stand = f"These {number} stand in series" if series else f"No step gives two of these {number} proofs"
    return f"{stand}: {number} steps at least ({listed})."
