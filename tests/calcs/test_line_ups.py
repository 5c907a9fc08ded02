"""Plans of pressure tests: the fewest steps there are, against looking at every region; refusals; the verifier."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import chain, combinations, pairwise, permutations

import pytest

from calcs.errors import InputError
from calcs.line_up_model import Clockless
from calcs.line_up_moves import eased
from calcs.line_up_order import moved_in, movements
from calcs.line_up_planner import plan
from calcs.line_up_regions import Ground
from calcs.line_up_rounds import nearest
from calcs.line_up_verified import PlanRefusedError, verified_plan, verify
from calcs.line_up_verifier import check, simulate
from calcs.lineups import NO_PIPE, LineUp, Plan, Proof, System
from calcs.surface import calculate
from tests.pressure_systems_made import (
    HIGH,
    HIGHEST,
    LOW,
    PIPE,
    EveryRegion,
    fewest,
    invented,
    parallel,
    series,
    valve,
)

SYSTEMS = 200
BLOCKS = 10


def planned(system: System, proofs: list[Proof], **changes: object) -> Plan:
    return verified_plan(replace(system, **changes), proofs)  # type: ignore[arg-type]


def why_not(system: System, proof: Proof, **changes: object) -> str:
    (refused,) = planned(system, [proof], **changes).unprovable
    assert refused.proof == proof
    return refused.why


@pytest.mark.parametrize("block", range(BLOCKS))
def test_no_plan_has_fewer_steps_and_nothing_provable_is_left_out(block: int):
    for seed in range(block, SYSTEMS, BLOCKS):
        system, proofs = invented(seed)
        sets = EveryRegion(system, proofs).proof_sets()
        provable = frozenset(chain.from_iterable(sets))
        found = plan(system, proofs)
        assert (seed, len(found.steps)) == (seed, fewest(sets, provable))
        assert found.fewest_proven
        refused = {each.proof for each in found.unprovable}
        assert refused == {proof for place, proof in enumerate(proofs) if place not in provable}
        coverage = check(system, proofs, found.steps)
        assert set(coverage.unproved) == refused
        assert not any(coverage.faults)


@pytest.mark.parametrize("seed", range(25))
def test_looking_at_regions_leaves_out_no_set_of_closed_elements(seed: int):
    system, proofs = invented(seed, most=6)
    ids = [element.id for element in system.elements]
    shut = [frozenset(some) for count in range(len(ids) + 1) for some in combinations(ids, count)]
    shown = set()
    for closed in shut:
        for point in system.pump_points:
            for pipe in system.pipe_strings:
                for high in (LOW, HIGH):
                    shows = simulate(system, LineUp(point, pipe, high, closed)).shows
                    given = [(proof.element, proof.side) in shows and proof.high <= high for proof in proofs]
                    shown.add(frozenset(place for place, yes in enumerate(given) if yes))
    by_region = EveryRegion(system, proofs).proof_sets()
    assert all(any(given <= each for each in by_region) for given in shown if given)
    assert all(given in shown for given in by_region if given)


@pytest.mark.parametrize("count", [1, 2, 5, 12])
def test_valves_in_series_take_a_step_each(count: int):
    found = planned(*series(count))
    assert (len(found.steps), found.lower_bound) == (count, count)


def test_the_bound_is_explained_by_the_series():
    assert planned(*series(6)).because.startswith("These six stand in series: six steps at least (v0 from c0, v1")


@pytest.mark.parametrize("count", [1, 7])
def test_valves_side_by_side_take_one_step(count: int):
    found = planned(*parallel(count))
    assert len(found.steps) == 1
    assert found.because == ""


def test_a_step_is_pumped_no_higher_than_its_own_proofs_need():
    system, _ = series(2)
    found = planned(system, [Proof("v0", "c0", LOW), Proof("v1", "c1", HIGH)])
    pressures = {min(step.closed & {"v0", "v1"}): step.pressure for step in found.steps}
    assert pressures == {"v0": LOW, "v1": HIGH}


def test_the_pipe_is_changed_as_seldom_as_it_goes():
    """Two rams that close on pipe, two that close on none: one change, whatever else they have between them."""
    on = {"r0": frozenset([NO_PIPE]), "r1": frozenset([PIPE]), "r2": frozenset([NO_PIPE]), "r3": frozenset([PIPE])}
    elements = tuple(
        valve(name, f"c{place}", f"c{place + 1}", closes_on=closes_on)
        for place, (name, closes_on) in enumerate(on.items())
    )
    system = System(elements, ("c0",), ("c4",), pipe_strings=(NO_PIPE, PIPE))
    found = planned(system, [Proof(element.id, element.between[0], HIGH) for element in elements])
    assert len(found.steps) == 4
    assert sum(one.pipe != other.pipe for one, other in pairwise(found.steps)) == 1


def test_a_longer_way_round_is_taken_to_spare_a_change_of_pipe():
    """The first valve can be shown by itself on pipe; a step that shows it with none would do as well."""
    ram = valve("ram", "bore", "air", closes_on=frozenset([PIPE]))
    blind = valve("blind", "bore", "line", closes_on=frozenset([NO_PIPE]))
    outer = valve("outer", "line", "air")
    system = System((ram, blind, outer), ("bore", "line"), ("air",), pipe_strings=(NO_PIPE, PIPE))
    found = planned(system, [Proof("ram", "bore", HIGH), Proof("outer", "line", HIGH)])
    assert {step.pipe for step in found.steps} == {PIPE}


def test_movements_are_counted_from_the_drilling_line_up_and_back():
    system, proofs = series(3)
    found = planned(system, proofs)
    assert moved_in(system, found.steps) == 6
    moved = movements(system, frozenset({"v0"}), frozenset({"v1", "v2"}))
    assert (moved.close, moved.open) == (("v1", "v2"), ("v0",))


@pytest.mark.parametrize("seed", range(0, 100, 5))
def test_no_other_order_of_the_steps_changes_less_pipe_or_moves_less(seed: int):
    system, proofs = invented(seed)
    steps = plan(system, proofs).steps

    def cost(order: Sequence[LineUp]) -> tuple[int, int]:
        return sum(one.pipe != other.pipe for one, other in pairwise(order)), moved_in(system, order)

    assert cost(steps) == min(map(cost, permutations(steps)))


def test_a_single_step_moves_as_little_as_any_that_proves_the_same():
    """Every set of closed elements is tried: none that proves as much on that pipe is nearer to drilling."""
    tried = 0
    for seed in range(60):
        system, proofs = invented(seed, most=8)
        found = plan(system, proofs)
        if len(found.steps) == 1:
            (step,) = found.steps
            wanted = {(each.element, each.side) for each in proofs} - {
                (each.proof.element, each.proof.side) for each in found.unprovable
            }
            ids = [element.id for element in system.elements]
            shut = [frozenset(some) for count in range(len(ids) + 1) for some in combinations(ids, count)]
            others = [
                LineUp(point, step.pipe, step.pressure, closed) for closed in shut for point in system.pump_points
            ]
            least = min(moved_in(system, [other]) for other in others if simulate(system, other).shows >= wanted)
            assert (seed, moved_in(system, found.steps)) == (seed, least)
            tried += 1
    assert tried > 5


def test_steps_done_otherwise_to_move_less_prove_the_same():
    eased_any = False
    for seed in range(0, 60, 4):
        system, proofs = invented(seed)
        ground, found = Ground(system, proofs), plan(system, proofs)
        shut = frozenset(element.id for element in system.elements)
        plain = [replace(step, closed=_all_else_as(system, step, shut)) for step in found.steps]
        given = frozenset().union(*(ground.given_by(step) for step in plain))
        steps = eased(ground, plain, given, Clockless(10))
        assert given <= frozenset().union(*(ground.given_by(step) for step in steps))
        assert not any(check(system, proofs, steps).faults)
        assert moved_in(system, steps) <= moved_in(system, plain)
        eased_any = eased_any or moved_in(system, steps) < moved_in(system, plain)
    assert eased_any


def _all_else_as(system: System, step: LineUp, like: frozenset[str]) -> frozenset[str]:
    """Return what the step closes, with all it does not need as `like` has it."""
    shows = simulate(system, step).shows
    return nearest(system, like, step, lambda other: simulate(system, other).shows >= shows).closed


def test_of_a_part_rated_too_low_for_its_line_the_part_is_named():
    elements = (valve("v0", "c0", "c1"), valve("gauge", "c0", "air", rating=LOW), valve("v1", "c1", "air"))
    system = System(elements, ("c0",), ("air",))
    assert why_not(system, Proof("v0", "c0", HIGH)) == (
        "gauge would be pressurised too, and its rating is under the test pressure."
    )
    assert why_not(system, Proof("gauge", "c0", HIGH)) == "Its own rating is under the test pressure."
    assert "c0 would be pressurised" in why_not(
        replace(system, elements=elements[:1] + elements[2:]), Proof("v0", "c0", HIGH), cavity_ratings={"c0": LOW}
    )


def test_of_what_never_drains_the_cavity_is_named():
    dead_end = System((valve("v0", "c0", "c1"), valve("v1", "c0", "air")), ("c0",), ("air",))
    assert "c1 is never vented while c0 is under pressure" in why_not(dead_end, Proof("v0", "c0", HIGH))


def test_what_holds_one_way_is_said_to():
    elements = (valve("check", "c0", "c1", holds_from=frozenset(["c1"])), valve("v1", "c1", "air"))
    system = System(elements, ("c0",), ("air",))
    assert why_not(system, Proof("check", "c0", HIGH)) == "It holds one way only, from c1."
    choke = replace(elements[0], holds_from=frozenset())
    assert why_not(system, Proof("check", "c0", HIGH), elements=(choke, elements[1])) == (
        "It holds no pressure when it is closed."
    )


def test_of_what_has_to_hold_besides_the_element_is_named():
    elements = (valve("v0", "c0", "air"), valve("choke", "c0", "air", holds_from=frozenset()))
    why = why_not(System(elements, ("c0",), ("air",)), Proof("v0", "c0", HIGH))
    assert why == "choke would have to hold pressure from c0, which it does not."


def test_where_no_pipe_offered_will_do_it_is_said():
    system = System(
        (valve("ram", "c0", "air", closes_on=frozenset()),), ("c0",), ("air",), pipe_strings=(NO_PIPE, PIPE)
    )
    assert why_not(system, Proof("ram", "c0", HIGH)) == "ram closes on no pipe size offered."
    two = tuple(
        valve(name, "c0", "air", closes_on=frozenset([pipe])) for name, pipe in (("blind", NO_PIPE), ("ram", PIPE))
    )
    assert "closes on" in why_not(system, Proof("ram", "c0", HIGH), elements=two)


def test_where_no_pump_reaches_it_is_said():
    system = System((valve("v0", "c0", "c1"), valve("v1", "c1", "air")), ("c0",), ("air",))
    assert why_not(system, Proof("v0", "c1", HIGH)).startswith("No pump point reaches c1")


def test_a_proof_that_can_not_be_given_does_not_stop_the_others():
    system, proofs = series(3)
    found = planned(system, [*proofs, Proof("v1", "c2", HIGH)])
    assert (len(found.steps), [each.proof.side for each in found.unprovable]) == (3, ["c2"])


def test_out_of_time_the_plan_is_valid_and_claims_no_more_than_it_knows():
    system, proofs = invented(7)
    found = plan(system, proofs, seconds=1e-6)
    coverage = check(system, proofs, found.steps)
    assert not any(coverage.faults)
    assert set(coverage.unproved) <= {each.proof for each in found.unprovable}
    assert found.lower_bound <= len(plan(system, proofs).steps)


BORE = (
    valve("ram", "bore", "air", holds_from=frozenset(["bore"]), closes_on=frozenset([PIPE])),
    valve("v", "bore", "line"),
)
SYSTEM = System((*BORE, valve("outer", "line", "air", rating=LOW)), ("bore",), ("air",), {}, (NO_PIPE, PIPE))
STEP = LineUp("bore", PIPE, HIGH, frozenset({"ram", "v"}))


def test_a_step_shows_what_stands_between_pressure_and_a_vent():
    shown = simulate(SYSTEM, STEP)
    assert (shown.pressurised, shown.drained) == ({"bore"}, {"line", "air"})
    assert shown.shows == {("ram", "bore"), ("v", "bore")}
    assert simulate(SYSTEM, replace(STEP, closed=frozenset({"ram", "v", "outer"}))).shows == {("ram", "bore")}


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"closed": frozenset({"v"})}, "air is open to the air and would be pressurised."),
        ({"pipe": NO_PIPE}, "ram does not close on an empty hole."),
        ({"pipe": "9 in"}, "9 in is not among the pipe that can stand in the hole."),
        ({"pump_point": "line"}, "No pump can be lined up to line."),
        ({"closed": frozenset({"ram", "outer"})}, "The pressure is over the rating of outer."),
        ({"pressure": 2 * HIGHEST}, "The pressure is over the rating of ram."),
        ({"pressure": 0.0}, "The step has no pressure."),
        ({"closed": frozenset({"ram", "v", "w"})}, "There is no element w."),
    ],
)
def test_a_step_that_is_not_valid_proves_nothing_and_says_why(changes: dict[str, object], fault: str):
    shown = simulate(SYSTEM, replace(STEP, **changes))  # type: ignore[arg-type]
    assert fault in shown.faults
    assert shown.shows == frozenset()


def test_an_element_that_does_not_hold_from_there_is_named():
    elements = tuple(replace(element, holds_from=frozenset()) for element in BORE)
    assert simulate(replace(SYSTEM, elements=elements), STEP).faults[0] == "ram does not hold pressure from bore."


def test_a_closed_element_between_two_pressurised_cavities_is_fine_and_proves_nothing():
    both = replace(SYSTEM, elements=(*BORE, valve("w", "bore", "line"), valve("outer", "line", "air")))
    shown = simulate(both, replace(STEP, closed=frozenset({"ram", "w", "outer"})))
    assert shown.faults == ()
    assert shown.shows == {("ram", "bore"), ("outer", "line")}


def test_a_plan_that_does_not_do_what_it_says_is_refused():
    proofs = [Proof("v", "bore", HIGH)]
    verify(SYSTEM, proofs, Plan((STEP,), 1))
    with pytest.raises(PlanRefusedError, match="v from bore is not proved"):
        verify(SYSTEM, proofs, Plan((replace(STEP, pressure=LOW),), 1))
    with pytest.raises(PlanRefusedError, match="step 1: ram does not close on an empty hole"):
        verify(SYSTEM, proofs, Plan((replace(STEP, pipe=NO_PIPE),), 1))


RAM = {"id": "ram", "kind": "pipe-ram", "between": ["bore", "above"], "holds_from": ["bore"], "rating": "10000 psi"}
INNER = {"id": "inner", "kind": "gate-valve", "between": ["bore", "line"], "holds_from": ["bore"], "rating": "5000 psi"}
DOCUMENT = {
    "elements": [{**RAM, "closes_on": ["5 in"]}, INNER],
    "pump_points": ["bore"],
    "vents": ["above", "line"],
    "normally_closed": ["inner"],
    "proofs": [
        {"element": "ram", "from": "bore", "high": "5000 psi"},
        {"element": "inner", "from": "bore", "high": "3000 psi"},
    ],
}


def test_the_answer_by_name_says_what_to_do_in_each_step():
    found = calculate("line-ups", DOCUMENT)
    (step,) = found["steps"]
    assert step == {
        "pump_point": "bore",
        "pipe": "5 in",
        "pressure": {"value": 5000.0, "unit": "psi"},
        "closed": ["ram", "inner"],
        "open": [],
        "proves": [{"element": "ram", "from": "bore"}, {"element": "inner", "from": "bore"}],
        "moves": [{"element": "ram", "to": "closed"}],
    }
    assert found["moves_back"] == [{"element": "ram", "to": "open"}]
    assert (found["fewest_proven"], found["lower_bound"], found["unprovable"]) == (True, 1, [])


def element(place: int, **changes: object) -> dict[str, object]:
    given = [dict(one) for one in DOCUMENT["elements"]]
    given[place] |= changes
    return {"elements": given}


@pytest.mark.parametrize(
    ("changes", "field", "says"),
    [
        (element(1, between=["bore", "bore"]), "elements.1.between", "itself"),
        (element(1, between=["bore"]), "elements.1.between", "Two cavities"),
        (element(1, between=["mud", "line"], holds_from=["line"]), "elements.1.between", "not joined"),
        (element(1, id="ram"), "elements.1.id", "twice"),
        (element(1, id=" "), "elements.1.id", "text"),
        (element(1, holds_from=["above"]), "elements.1.holds_from", "does not touch 'above'"),
        (element(1, rating="10000"), "elements.1.rating", "unit"),
        (element(1, rating="0 psi"), "elements.1.rating", "over zero"),
        ({**element(0, closes_on=["6 in"]), "pipe_strings": ["none"]}, "elements.0.closes_on", "6 in"),
        ({"elements": []}, "elements", "none"),
        ({"pump_points": []}, "pump_points", "no pump point"),
        ({"pump_points": ["cellar"]}, "pump_points.0", "'cellar'"),
        ({"pump_points": ["above"]}, "pump_points.0", "vent too"),
        ({"vents": []}, "vents", "no vent"),
        ({"vents": ["above", "moon"]}, "vents.1", "'moon'"),
        ({"vents": ["above", "above"]}, "vents.1", "twice"),
        ({"cavity_ratings": {"moon": "1 psi"}}, "cavity_ratings.moon", "'moon'"),
        ({"cavity_ratings": {"bore": "1"}}, "cavity_ratings.bore", "unit"),
        ({"cavity_ratings": ["bore"]}, "cavity_ratings", "object"),
        ({"normally_closed": ["outer"]}, "normally_closed.0", "'outer'"),
        ({"proofs": []}, "proofs", "none"),
        ({"proofs": [{"element": "x", "from": "bore", "high": "1 psi"}]}, "proofs.0.element", "'x'"),
        ({"proofs": [{"element": "ram", "from": "line", "high": "1 psi"}]}, "proofs.0.from", "does not touch"),
        ({"proofs": [{"element": "ram", "from": "bore", "high": "1"}]}, "proofs.0.high", "unit"),
        ({"proofs": [{"element": "ram", "from": "bore", "high": "1 psi"}] * 2}, "proofs.1", "proof 1 once more"),
        ({"time_limit": "1 h"}, "time_limit", "60 s"),
        ({"elements": [{**INNER, "id": f"v{number}"} for number in range(151)]}, "elements", "151"),
    ],
)  # fmt: skip
def test_what_can_not_be_worked_with_is_refused_where_it_stands(changes: dict[str, object], field: str, says: str):
    with pytest.raises(InputError) as refused:
        calculate("line-ups", {**DOCUMENT, **changes})
    assert refused.value.field == field
    assert says in refused.value.reason + refused.value.remedy
