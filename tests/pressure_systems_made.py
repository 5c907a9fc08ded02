"""Invented pressure systems, and the fewest steps found without any of the planner: by looking at every region."""

import random
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from calcs.lineups import NO_PIPE, Element, Proof, System

LOW, HIGH, HIGHEST = 20e6, 35e6, 70e6
PIPE = "5 in"
MOST_ELEMENTS = 12


def valve(name: str, one: str, other: str, **changes: object) -> Element:
    given: dict[str, object] = {
        "id": name,
        "kind": "gate-valve",
        "between": (one, other),
        "holds_from": frozenset((one, other)),
        "rating": HIGHEST,
    }
    return Element(**{**given, **changes})  # type: ignore[arg-type]


def series(count: int) -> tuple[System, list[Proof]]:
    """Valves one after another, pumped at one end and vented between all of them."""
    elements = tuple(valve(f"v{place}", f"c{place}", f"c{place + 1}") for place in range(count))
    vents = (valve("bleed", f"c{count}", "air"),)
    proofs = [Proof(element.id, element.between[0], HIGH) for element in elements]
    return System(elements + vents, ("c0",), ("air",)), proofs


def parallel(count: int) -> tuple[System, list[Proof]]:
    """Valves side by side between a pump and the air."""
    elements = tuple(valve(f"v{place}", "pump", "air") for place in range(count))
    return System(elements, ("pump",), ("air",)), [Proof(element.id, "pump", HIGH) for element in elements]


def invented(seed: int, most: int = MOST_ELEMENTS) -> tuple[System, list[Proof]]:
    """A system of up to so many elements, with valves that hold one way, low ratings and pipe."""
    chance = random.Random(seed)
    count = chance.randint(3, most)
    cavities = [f"c{place}" for place in range(chance.randint(max(3, count * 2 // 3), count))]
    pipes = (NO_PIPE, PIPE) if chance.random() < 0.6 else (NO_PIPE,)
    elements = tuple(_element(chance, place, cavities, pipes) for place in range(count))
    pumps = chance.sample(cavities, chance.randint(1, 2))
    others = [cavity for cavity in cavities if cavity not in pumps]
    system = System(
        elements,
        tuple(pumps),
        tuple(chance.sample(others, min(len(others), chance.randint(1, 2)))),
        {cavity: chance.choice([LOW, HIGH]) for cavity in cavities if chance.random() < 0.1},
        pipes,
        frozenset(element.id for element in elements if chance.random() < 0.3),
    )
    sides = [(element.id, side) for element in elements for side in element.between if chance.random() < 0.5]
    return system, [Proof(name, side, chance.choice([LOW, LOW, HIGH])) for name, side in sides or [("e0", "c1")]]


def _element(chance: random.Random, place: int, cavities: list[str], pipes: tuple[str, ...]) -> Element:
    """The first elements join each cavity to one before it, the others any two."""
    if place + 1 < len(cavities):
        one, other = cavities[place + 1], chance.choice(cavities[max(0, place - 2) : place + 1])
    else:
        one, other = chance.sample(cavities, 2)
    holds = chance.choice([(one, other)] * 8 + [(one,), (other,), ()])
    closes_on = chance.choice([None] * 6 + [frozenset([NO_PIPE]), frozenset([pipes[-1]])])
    rating = chance.choice([HIGH, HIGH, HIGH, HIGHEST, LOW])
    return valve(f"e{place}", one, other, holds_from=frozenset(holds), closes_on=closes_on, rating=rating)


@dataclass(frozen=True)
class EveryRegion:
    """What every set of cavities under pressure proves, cavities as bits of a number."""

    system: System
    proofs: list[Proof]

    @property
    def bits(self) -> Mapping[str, int]:
        return {cavity: 1 << place for place, cavity in enumerate(self.system.cavities)}

    def proof_sets(self) -> set[frozenset[int]]:
        """Return what each valid region proves, pumped as high as it bears."""
        bits, found = self.bits, set()
        ends = [(element, bits[element.between[0]], bits[element.between[1]]) for element in self.system.elements]
        links = [(one, other) for _, one, other in ends]
        vents = sum(bits[vent] for vent in self.system.vents)
        for region in range(1, 1 << len(bits)):
            pumps = [bits[point] for point in self.system.pump_points if region & bits[point]]
            if not pumps or region & vents or flood(pumps[0], region, links) != region:
                continue
            around = [
                (element, element.between[0] if region & one else element.between[1])
                for element, one, other in ends
                if bool(region & one) != bool(region & other)
            ]
            if self._stands(around):
                drained = flood(vents, (1 << len(bits)) - 1 & ~region, links)
                found.add(self._proved(region, drained, around))
        return found

    def _stands(self, around: list[tuple[Element, str]]) -> bool:
        pipes = set(self.system.pipe_strings)
        for element, side in around:
            pipes &= pipes if element.closes_on is None else element.closes_on
            if side not in element.holds_from:
                return False
        return bool(pipes)

    def _proved(self, region: int, drained: int, around: list[tuple[Element, str]]) -> frozenset[int]:
        bits = self.bits
        touched = [
            element.rating for element in self.system.elements if any(region & bits[end] for end in element.between)
        ]
        bears = min(touched + [own for cavity, own in self.system.cavity_ratings.items() if region & bits[cavity]])
        stand = {(element.id, side) for element, side in around if drained & bits[element.far_from(side)]}
        return frozenset(
            place
            for place, proof in enumerate(self.proofs)
            if (proof.element, proof.side) in stand and proof.high <= bears
        )


def flood(sources: int, within: int, links: Iterable[tuple[int, int]]) -> int:
    """Return the cavities reached from the sources without leaving those given."""
    reached, before = sources & within, -1
    while reached != before:
        before = reached
        for one, other in links:
            if reached & (one | other):
                reached |= (one | other) & within
    return reached


def fewest(sets: Iterable[frozenset[int]], wanted: frozenset[int]) -> int:
    """Return how few of the sets hold all that is wanted, by trying every number of them."""
    pool = [each for each in set(sets) if each]
    return next(count for count in range(len(wanted) + 1) if _suffices(pool, wanted, count))


def _suffices(pool: list[frozenset[int]], wanted: frozenset[int], count: int) -> bool:
    if not wanted:
        return True
    rarest = min(wanted, key=lambda place: sum(place in each for each in pool))
    return count > 0 and any(_suffices(pool, wanted - each, count - 1) for each in pool if rarest in each)
