"""The fewest regions that give every proof, by column generation, with a bound that shows it.

A handful of regions is enough to choose a cover from; the solver is asked for a region that the cover's dual prices
call worth having until there is none. The method is that of Gilmore and Gomory for cutting stock (Operations Research
9, 1961), the bound that of Farley (Operations Research 38, 1990), both from memory: the sum of prices over the weight
of the heaviest region is a lower bound, however far the search has come. Where the bound stays under the cover, every
region that a smaller cover could hold has a reduced cost under the gap; those are listed and the cover is chosen anew.
"""

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from ortools.sat.python import cp_model
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_matrix, lil_matrix

from calcs.line_up_model import Clockless, Seen, StepModel, levels_of
from calcs.line_up_regions import Ground, Region

PRICE: Final = 1_000_000
"""Prices are whole numbers for the solver; what is lost by rounding weakens the bound, never falsifies it."""
LEAST_SECONDS: Final = 0.05


@dataclass(slots=True)
class Cover:
    """Regions looked for until the fewest are found.

    Attributes:
        ground: the system and its proofs.
        pipes: the pipe strings that may stand in the hole.
        time: what is left of it.
        aim: a cover of so many is small enough, and a bound over it says enough; 0 where the fewest are asked for.
        regions: every region found, each once.
        chosen: those of the best cover.
        bound: no cover has fewer.
        unprovable: places of the proofs that no region gives.
        undecided: places of the proofs of which the time did not tell whether any region gives them.
        apart: places of proofs no two of which any region gives, as many as the bound; empty where there are not.
    """

    ground: Ground
    pipes: tuple[str, ...]
    time: Clockless
    aim: int = 0
    regions: dict[frozenset[int], Region] = field(default_factory=dict)
    chosen: tuple[Region, ...] = ()
    bound: int = 0
    unprovable: frozenset[int] = frozenset()
    undecided: frozenset[int] = frozenset()
    apart: frozenset[int] = frozenset()
    _step: StepModel = field(init=False)
    _final: dict[int, int] = field(default_factory=dict)
    _spare: int = 0

    def __post_init__(self) -> None:
        """Write the step down that is looked for."""
        self._step = StepModel(self.ground, self.pipes, levels_of(proof.high for proof in self.ground.proofs))

    @property
    def provable(self) -> tuple[int, ...]:
        """Return the places of the proofs some region gives."""
        out = self.unprovable | self.undecided
        return tuple(place for place in range(len(self.ground.proofs)) if place not in out)

    @property
    def settled(self) -> bool:
        """Tell whether no cover is smaller than the chosen one, or enough is known for the aim."""
        if self.aim and (len(self.chosen) <= self.aim or self.bound > self.aim):
            return True
        return self.bound >= len(self.chosen)

    def find_least(self) -> None:
        """Find the fewest of all regions, once every proof that has one has a region."""
        if self.provable:
            self._choose()
            self._price()
            self._stand_apart()
            self._close_gap()

    def find_first(self) -> None:
        """Find a region for every proof that has one, each time that which gives most of what is missing."""
        missing = set(range(len(self.ground.proofs))) - set().union(*self.regions)
        while missing:
            found, ceiling = self._heaviest(self._first(missing))
            given = missing & set().union(*(region.proofs for region in found))
            if not given:
                told = ceiling < self._stake
                self.unprovable, self.undecided = (
                    (frozenset(missing), frozenset()) if told else (frozenset(), frozenset(missing))
                )
                return
            missing -= given

    @property
    def _stake(self) -> int:
        return len(self.ground.proofs) + 1

    def _first(self, wanted: Collection[int]) -> dict[int, int]:
        """Weigh proofs so that one of those wanted counts for more than all others, and the others still count."""
        return {place: self._stake if place in wanted else 1 for place in range(len(self.ground.proofs))}

    def _heaviest(self, weights: Mapping[int, int]) -> tuple[list[Region], int]:
        """Keep the regions met on the way to the heaviest; return those that are new, and what none outweighs."""
        self._step.maximise(weights)
        return self._solve(self._step, sum(weights.values()))

    def _solve(self, step: StepModel, most: int) -> tuple[list[Region], int]:
        seen = Seen(step)
        solver, status = self.time.solve(step.model, seen)
        fresh = [region for region in seen.regions if region.proofs not in self.regions]
        self.regions.update({region.proofs: region for region in fresh})
        if status == cp_model.INFEASIBLE:
            return fresh, -1
        told = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        return fresh, math.floor(solver.best_objective_bound + 1e-6) if told else most

    def _choose(self) -> None:
        """Choose the fewest of the regions found."""
        pool = self._pool()
        found = milp(
            np.ones(len(pool)),
            constraints=[
                LinearConstraint(self._gives(pool), lb=1),
                LinearConstraint(np.ones(len(pool)), lb=self.bound),
            ],
            integrality=np.ones(len(pool)),
            bounds=Bounds(0, 1),
            options={"time_limit": max(self.time.left, LEAST_SECONDS)},
        )
        chosen = pool if found.x is None else tuple(pool[column] for column in np.flatnonzero(found.x > 0.5))
        if not self.chosen or len(chosen) < len(self.chosen):
            self.chosen = chosen

    def _gives(self, pool: tuple[Region, ...]) -> csr_matrix:
        """Return which of the regions gives which of the provable proofs, a row for each proof."""
        gives = lil_matrix((len(self.provable), len(pool)))
        for row, place in enumerate(self.provable):
            gives[row, [column for column, region in enumerate(pool) if place in region.proofs]] = 1
        return gives.tocsr()

    def _pool(self) -> tuple[Region, ...]:
        """Return the regions that prove what no other proves besides more."""
        proofs = sorted(self.regions, key=len, reverse=True)
        kept: list[frozenset[int]] = []
        for each in proofs:
            if not any(each <= other for other in kept):
                kept.append(each)
        return tuple(self.regions[each] for each in kept)

    def _price(self) -> None:
        """Look for regions worth having until there are none, raising the bound on the way."""
        while not self.settled and not self.time.over:
            prices = self._prices()
            found, ceiling = self._heaviest(prices)
            self.bound = max(self.bound, -(-sum(prices.values()) // max(ceiling, 1)))
            if ceiling <= PRICE + len(prices) or not found:
                self._final, self._spare = prices, max(ceiling - PRICE, 0)
                break
        self._choose()

    def _prices(self) -> dict[int, int]:
        """Return what each proof is worth: the dual prices of the cheapest fractional cover."""
        pool, places = self._pool(), self.provable
        found = linprog(np.ones(len(pool)), A_ub=-self._gives(pool), b_ub=-np.ones(len(places)), method="highs")
        worth = np.floor(np.maximum(-found.ineqlin.marginals, 0) * PRICE + 0.5).astype(int)
        return dict(zip(places, worth.tolist(), strict=True))

    def _stand_apart(self) -> None:
        """Look for proofs no two of which any region gives, as many as the cover has regions."""
        while not self.apart and not self.time.over:
            wanted = self._packed()
            if len(wanted) < len(self.chosen):
                return
            found, ceiling = self._heaviest(self._first(wanted))
            if ceiling < 2 * self._stake:
                self.apart = frozenset(wanted)
                self.bound = max(self.bound, len(wanted))
            elif not found:
                return

    def _packed(self) -> list[int]:
        """Return the most proofs no two of which any region found gives."""
        model = cp_model.CpModel()
        takes = {place: model.new_bool_var("") for place in self.provable}
        for region in self._pool():
            model.add_at_most_one(takes[place] for place in region.proofs if place in takes)
        model.maximize(sum(takes.values()))
        solver, status = self.time.solve(model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return []
        return [place for place, take in takes.items() if solver.value(take)]

    def _close_gap(self) -> None:
        """List every region a smaller cover could hold, by its reduced cost, and choose anew.

        The reduced costs of a cover add up to its size less the prices at most; none is below what rounding spares.
        """
        while self._final and not self.settled and not self.time.over:
            others = len(self.chosen) - 2
            least = sum(self._final.values()) - others * (PRICE + self._spare)
            step = StepModel(self.ground, self.pipes, self._step.levels)
            step.maximise(self._final)
            step.model.add(sum(weight * step.proved[place] for place, weight in self._final.items()) >= least)
            for region in self._pool():
                step.must_add_to(region)
            found, ceiling = self._solve(step, sum(self._final.values()))
            if ceiling < 0:
                self.bound = len(self.chosen)
            elif not found:
                return
            self._choose()
