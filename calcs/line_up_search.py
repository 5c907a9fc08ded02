"""The search for a plan: the fewest regions, on the fewest pipe strings, as line-ups in their order."""

from collections.abc import Sequence
from itertools import combinations
from typing import Final

from calcs.line_up_cover import Cover
from calcs.line_up_model import Clockless
from calcs.line_up_reasons import in_series, unprovable
from calcs.line_up_regions import Ground, Region
from calcs.line_up_rounds import in_order, nearest
from calcs.lineups import LineUp, Plan, Proof, System

_NUMBERS: Final = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")  # fmt: skip
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
    if cover.time.over:
        return None
    known = {proofs: region for proofs, region in cover.regions.items() if region.pipes & pipes}
    other = Cover(cover.ground, tuple(sorted(pipes)), cover.time, aim=len(cover.chosen), regions=known)
    other.find_first()
    if set(other.provable) != set(cover.provable):
        return None
    other.find_least()
    return other.chosen if len(other.chosen) <= len(cover.chosen) else None


def _steps(
    ground: Ground, chosen: Sequence[Region], pipes: frozenset[str], provable: Sequence[int], time: Clockless
) -> list[LineUp]:
    """Return the regions as line-ups in their order, each at the highest pressure its own proofs need."""
    needs = [need for need in _shared_out(ground, chosen, provable) if need[1]]
    variants = [_variants(ground, region, need, pipes) for region, need in needs]

    def serves(place: int, line_up: LineUp) -> bool:
        return _gives(ground, line_up, needs[place][1])

    return in_order(ground.system, variants, serves, time)


def _shared_out(
    ground: Ground, chosen: Sequence[Region], provable: Sequence[int]
) -> list[tuple[Region, frozenset[int]]]:
    """Give each proof to one region, lower pressures to a region that is pumped as high for another proof anyway."""
    given: list[set[int]] = [set() for _ in chosen]
    for place in sorted(provable, key=lambda place: (-_holders(chosen, place)[0], -ground.proofs[place].high)):
        high = ground.proofs[place].high
        fit = [index for index, region in enumerate(chosen) if place in region.proofs]
        reached = [max((ground.proofs[other].high for other in given[index]), default=0.0) for index in fit]
        given[min(zip(fit, reached, strict=True), key=lambda pair: (max(high - pair[1], 0), pair[1]))[0]].add(place)
    return [(region, frozenset(places)) for region, places in zip(chosen, given, strict=True)]


def _holders(chosen: Sequence[Region], place: int) -> tuple[bool]:
    """Tell whether one region alone gives the proof."""
    return (sum(place in region.proofs for region in chosen) == 1,)


def _variants(ground: Ground, region: Region, need: frozenset[int], pipes: frozenset[str]) -> list[LineUp]:
    """Return the region as a line-up for each pipe it can be done on, as near to the drilling line-up as it goes."""
    system = ground.system
    closed = frozenset(element.id for element in ground.around(region.cavities))
    pressure = max(ground.proofs[place].high for place in need)

    def serves(line_up: LineUp) -> bool:
        return _gives(ground, line_up, need)

    return [
        nearest(system, system.normally_closed, LineUp(region.pump_point, pipe, pressure, closed), serves)
        for pipe in system.pipe_strings
        if pipe in region.pipes & pipes
    ]


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
