"""How long the fewest steps of a pressure test take to find, and how that compares with trying every set of valves."""

import resource
import subprocess
import sys
import time
from itertools import combinations
from pathlib import Path

from bench.contest import Bound, Contest
from calcs.line_up_planner import plan
from calcs.line_up_verifier import check, simulate
from calcs.lineups import NO_PIPE, Element, LineUp, Plan, Proof, System
from calcs.units import Dimension, to_si

PSI = to_si(1, "psi", Dimension.PRESSURE)
FULL, LESS, ANNULAR = 15_000 * PSI, 10_000 * PSI, 7_000 * PSI
FIVE, SIX = "5 in", "6.625 in"
PIPES = (NO_PIPE, FIVE, SIX)
SECONDS, MEGABYTES, FASTER = 10, 1024, 5
SUBSEA_ELEMENTS = 45

# Invented; each row: name, kind, the two cavities (pressure is held from those marked with *), pipe it closes on.
SUBSEA = """
upper annular      annular        riser b1*
lower annular      annular        b1 b2*
blind shear        blind-shear    b2 b3*      none
casing shear       shear          b3 b4       none
upper pipe ram     pipe-ram       b4 b5*      5in 6.625in
middle pipe ram    pipe-ram       b5 b6*      5in 6.625in
lower pipe ram     pipe-ram       b6 b7*      5in
test ram           pipe-ram       b7* b8      5in
test plug          plug           b8* hole
inner choke 1      gate-valve     b2* o1*
outer choke 1      gate-valve     o1* choke*
inner choke 2      gate-valve     b5* o2*
outer choke 2      gate-valve     o2* choke*
inner choke 3      gate-valve     b7* o3*
outer choke 3      gate-valve     o3* choke*
inner kill 1       gate-valve     b3* o4*
outer kill 1       gate-valve     o4* kill*
inner kill 2       gate-valve     b6* o5*
outer kill 2       gate-valve     o5* kill*
bleed              gate-valve     b1* o6*
bleed outer        gate-valve     o6* choke*
choke line valve   gate-valve     choke* m0*
kill line valve    gate-valve     kill* m1*
cross valve        gate-valve     m0* m1*
choke inlet 1      gate-valve     m0* ma*
choke inlet 2      gate-valve     m0* mb*
choke inlet 3      gate-valve     m1* mc*
bypass             gate-valve     m0* md*
choke 1            choke          ma da
choke 2            choke          mb db
choke 3            choke          mc dc
choke outlet 1     gate-valve     da* buffer*
choke outlet 2     gate-valve     db* buffer*
choke outlet 3     gate-valve     dc* buffer*
bypass outer       gate-valve     md* buffer*
to separator       gate-valve     buffer* separator
to overboard       gate-valve     buffer* overboard
kill pump valve    gate-valve     m1* mud*
check valve        check-valve    mud* pumps
pump relief        gate-valve     pumps* pit
standpipe 1        gate-valve     pumps* stand*
standpipe 2        gate-valve     stand* hose*
upper drive valve  ball-valve     hose drive*
lower drive valve  ball-valve     drive string*
string valve       ball-valve     string b8*
"""
LOW_RATED = ("annular", "to ", "choke outlet", "bypass outer", "standpipe", "pump relief")


def subsea() -> tuple[System, list[Proof]]:
    """Return a subsea stack with lines, choke manifold, standpipe and drive valves, and a proof of every side."""
    elements = tuple(_element(row) for row in SUBSEA.strip().splitlines())
    shut = frozenset(element.id for element in elements if element.id.startswith(("inner", "outer", "bleed")))
    vents = ("riser", "hole", "separator", "overboard", "pit")
    system = System(elements, ("choke", "mud", "string", "pumps", "b8"), vents, {}, PIPES, shut)
    proofs = [
        Proof(element.id, side, ANNULAR if element.kind == "annular" else LESS)
        for element in elements
        for side in sorted(element.holds_from)
    ]
    return system, proofs


def _element(row: str) -> Element:
    name, kind, *rest = [part for part in row.split("  ") if part]
    cavities, _, pipes = " ".join(rest).strip().partition("  ")
    one, other, *closes_on = f"{cavities} {pipes}".split()
    holds = frozenset(cavity.rstrip("*") for cavity in (one, other) if cavity.endswith("*"))
    named = {"none": NO_PIPE, "5in": FIVE, "6.625in": SIX}
    return Element(
        name,
        kind.strip(),
        (one.rstrip("*"), other.rstrip("*")),
        holds,
        LESS if any(part in name for part in LOW_RATED) else FULL,
        frozenset(named[pipe] for pipe in closes_on) or None,
    )


def bounds() -> list[Bound]:
    """Count what a process of its own takes for the subsea system, and its steps over the bound proved."""
    told = subprocess.run(
        [sys.executable, "-m", "bench.line_ups"],
        cwd=Path(__file__).resolve().parent.parent,
        check=True,
        capture_output=True,
        text=True,
    )
    taken, megabytes, steps, bound = (float(each) for each in told.stdout.split())
    what = f"line-ups of {SUBSEA_ELEMENTS} elements, {steps:.0f} steps"
    return [
        Bound(f"{what}: processor time", taken * 1000, SECONDS * 1000, "ms"),
        Bound(f"{what}: memory", megabytes, MEGABYTES, "MB"),
        Bound(f"{what}: steps over the bound proved", steps - bound, 0, "steps"),
    ]


def contests() -> list[Contest]:
    """Ask for a manifold by search and by trying every set of closed valves; the answers are compared."""
    system, proofs = manifold()

    def ours() -> Plan:
        return plan(system, proofs)

    ours()  # the first question loads the solver

    def floor() -> None:
        if (found := tried(system, proofs)) != len(ours().steps):
            raise AssertionError(f"Trying every set finds {found} steps, the search {len(ours().steps)}.")

    return [
        Contest(
            question=f"line-ups of {len(system.elements)} elements",
            ours=ours,
            floor=floor,
            floor_is="every set of closed valves, same number of steps",
            limit=1 / FASTER,
            rounds=2,
        )
    ]


def manifold() -> tuple[System, list[Proof]]:
    """Return a choke manifold small enough to try every set of its valves."""
    rows = [row for row in SUBSEA.strip().splitlines() if "choke inlet" in row or "choke outlet" in row]
    rows += ["cross valve  gate-valve  m0* m1*", "bypass  gate-valve  m0* md*", "bypass outer  gate-valve  md* buffer*"]
    rows += ["to separator  gate-valve  buffer* separator", "to overboard  gate-valve  buffer* overboard"]
    rows += [
        f"choke {number}  gate-valve  {one}* {other}*"
        for number, one, other in ((1, "ma", "da"), (2, "mb", "db"), (3, "mc", "dc"))
    ]
    elements = tuple(_element(row) for row in rows)
    system = System(elements, ("m0", "da"), ("separator", "overboard"))
    return system, [Proof(element.id, element.between[0], LESS) for element in elements]


def tried(system: System, proofs: list[Proof]) -> int:
    """Return the fewest steps, by trying every set of closed valves and then every number of steps."""
    ids, sets = [element.id for element in system.elements], set()
    for count in range(1, len(ids) + 1):
        for closed in combinations(ids, count):
            for point in system.pump_points:
                shows = simulate(system, LineUp(point, NO_PIPE, LESS, frozenset(closed))).shows
                sets.add(frozenset(place for place, proof in enumerate(proofs) if (proof.element, proof.side) in shows))
    best = [each for each in sets if each and not any(each < other for other in sets)]
    wanted = frozenset().union(*best)
    return next(count for count in range(len(ids)) if _suffices(best, wanted, count))


def _suffices(sets: list[frozenset[int]], wanted: frozenset[int], count: int) -> bool:
    if not wanted:
        return True
    rarest = min(wanted, key=lambda place: sum(place in each for each in sets))
    return count > 0 and any(_suffices(sets, wanted - each, count - 1) for each in sets if rarest in each)


def main() -> None:
    """Plan the subsea system once and tell processor seconds, megabytes, steps and bound."""
    system, proofs = subsea()
    started = time.process_time()
    found = plan(system, proofs)
    taken = time.process_time() - started
    coverage = check(system, proofs, found.steps)
    if any(coverage.faults) or set(coverage.unproved) != {each.proof for each in found.unprovable}:
        raise AssertionError("The plan does not do what it says.")
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(taken, megabytes, len(found.steps), found.lower_bound)


if __name__ == "__main__":
    main()
