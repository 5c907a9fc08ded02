"""The leak search: fewest further steps in the worst case, against every step and every order of questions."""

from collections.abc import Iterable
from dataclasses import replace
from itertools import combinations

import pytest

from calcs.errors import InputError
from calcs.leak_search import FollowUp, Found, LeakSearch, Suspect, single_out
from calcs.line_up_verifier import simulate
from calcs.lineups import NO_PIPE, LineUp, System
from tests.pressure_systems_made import HIGH, LOW, PIPE, invented, parallel, valve

SEEDS = range(400)


def walked(search: LeakSearch, leaking: Suspect) -> tuple[list[FollowUp], Found]:
    """Return the steps done and what is found when that one leaks."""
    done: list[FollowUp] = []
    here = search.first
    while isinstance(here, FollowUp):
        done.append(here)
        here = here.if_it_leaks if leaking in here.tests else here.if_it_holds
    return done, here


def failed_steps() -> list[tuple[System, LineUp, list[Suspect]]]:
    """Small systems with the step that tests most of them at once, where it tests three or more."""
    found = []
    for seed in SEEDS:
        system, _ = invented(seed, most=8)
        steps = [step for step in every_step(system, system.pipe_strings, LOW) if simulate(system, step).shows]
        if steps:
            step = max(steps, key=lambda step: len(simulate(system, step).shows))
            shows = sorted(simulate(system, step).shows)
            if len(shows) >= 3:
                found.append((system, step, shows))
    return found[:25]


def every_step(system: System, pipes: Iterable[str], pressure: float) -> list[LineUp]:
    ids = [element.id for element in system.elements]
    shut = [frozenset(some) for count in range(1, len(ids) + 1) for some in combinations(ids, count)]
    return [LineUp(point, pipe, pressure, closed) for closed in shut for point in system.pump_points for pipe in pipes]


def questions(system: System, failed: LineUp, suspects: list[Suspect]) -> set[frozenset[Suspect]]:
    """What each step that tells something can test of the suspects."""
    found = set()
    for step in every_step(system, (failed.pipe,), failed.pressure):
        shown = simulate(system, step)
        tested = shown.shows & set(suspects)
        named = {name for name, _ in tested}
        against = {
            element.id
            for element in system.elements
            if element.id in step.closed and len(shown.pressurised & set(element.between)) == 1
        }
        if shown.shows and not ({name for name, _ in suspects} & against) - named:
            found.add(frozenset(tested))
    return found


def least(groups: frozenset[frozenset[Suspect]], asked: set[frozenset[Suspect]]) -> int:
    """Return how many questions tell the groups apart at most, by trying every question first."""
    if len(groups) <= 1:
        return 0
    parts = {frozenset(group for group in groups if group <= each) for each in asked}
    return 1 + min(max(least(part, asked), least(groups - part, asked)) for part in parts if part and part != groups)


def apart(suspects: list[Suspect], asked: set[frozenset[Suspect]]) -> frozenset[frozenset[Suspect]]:
    alike: dict[frozenset[frozenset[Suspect]], set[Suspect]] = {}
    for suspect in suspects:
        alike.setdefault(frozenset(each for each in asked if suspect in each), set()).add(suspect)
    return frozenset(frozenset(group) for group in alike.values())


def test_no_search_takes_fewer_steps_at_most_and_each_ends_at_what_leaks():
    cases = failed_steps()
    assert len(cases) == 25
    for system, failed, suspects in cases:
        search = single_out(system, failed, suspects)
        asked = questions(system, failed, suspects)
        groups = apart(suspects, asked)
        assert (search.most_steps, search.fewest_proven) == (least(groups, asked), True)
        assert {frozenset(group) for group in search.together} == {group for group in groups if len(group) > 1}
        for suspect in suspects:
            done, found = walked(search, suspect)
            assert frozenset(found.among) in groups
            assert suspect in found.among
            assert len(done) <= search.most_steps
            for each in done:
                assert set(each.tests) <= simulate(system, each.step).shows
                assert (each.step.pipe, each.step.pressure) == (failed.pipe, failed.pressure)


def branches(count: int) -> tuple[System, LineUp, list[Suspect]]:
    """Valves side by side to the air, each with a valve of its own before it, so that any may be left out."""
    inner = tuple(valve(f"i{place}", "pump", f"c{place}") for place in range(count))
    outer = tuple(valve(f"o{place}", f"c{place}", "air") for place in range(count))
    failed = LineUp("pump", NO_PIPE, HIGH, frozenset(element.id for element in outer))
    return System(inner + outer, ("pump",), ("air",)), failed, [(f"o{place}", f"c{place}") for place in range(count)]


@pytest.mark.parametrize(("count", "steps"), [(1, 0), (2, 1), (4, 2), (8, 3), (9, 4)])
def test_where_any_half_can_be_tested_each_step_halves_the_suspects(count: int, steps: int):
    assert single_out(*branches(count)).most_steps == steps


def test_what_an_earlier_step_proved_is_not_suspected():
    system, failed, suspects = branches(4)
    search = single_out(system, failed, suspects, proved=suspects[:2])
    assert (search.most_steps, search.cleared) == (1, tuple(suspects[:2]))
    with pytest.raises(InputError, match="proved before"):
        single_out(system, failed, suspects, proved=suspects)


def test_valves_that_are_always_tested_together_are_not_told_apart():
    system, _ = parallel(3)
    failed = LineUp("pump", NO_PIPE, HIGH, frozenset({"v0", "v1", "v2"}))
    suspects = [(f"v{place}", "pump") for place in range(3)]
    search = single_out(system, failed, suspects)
    assert (search.most_steps, search.first, search.together) == (0, Found(tuple(suspects)), (tuple(suspects),))


def test_a_suspect_that_would_leak_into_a_cavity_shut_in_is_not_left_standing_against_pressure():
    """Only the valve before it could shut the second off, and it does not hold from there."""
    shut_in = valve("shut-in", "c1", "air")
    elements = (valve("o0", "pump", "air"), valve("o1", "pump", "c1"), shut_in)
    failed = LineUp("pump", NO_PIPE, HIGH, frozenset({"o0", "o1"}))
    search = single_out(System(elements, ("pump",), ("air",)), failed, [("o0", "pump"), ("o1", "pump")])
    first = search.first
    assert isinstance(first, FollowUp)
    assert (first.tests, first.step.closed) == ((("o0", "pump"),), {"o0", "shut-in"})


def test_the_pipe_is_not_changed_for_a_search():
    ram = valve("ram", "bore", "air", closes_on=frozenset([PIPE]))
    blind = valve("blind", "bore", "line", closes_on=frozenset([NO_PIPE]))
    outer = valve("outer", "line", "air")
    system = System((ram, blind, outer), ("bore",), ("air",), pipe_strings=(NO_PIPE, PIPE))
    failed = LineUp("bore", PIPE, HIGH, frozenset({"ram", "outer"}))
    assert single_out(system, failed, [("ram", "bore"), ("outer", "line")]).together != ()


@pytest.mark.parametrize(
    ("changes", "suspects", "field"),
    [
        ({}, [], "suspects"),
        ({}, [("o0", "pump")], "suspects.0"),
        ({}, [("o9", "c9")], "suspects.0"),
        ({"pipe": PIPE}, [("o0", "c0")], "failed.pipe"),
        ({"pressure": 0.0}, [("o0", "c0")], "failed.pressure"),
    ],
)
def test_what_can_not_be_searched_is_refused(changes: dict[str, object], suspects: list[Suspect], field: str):
    system, failed, _ = branches(2)
    with pytest.raises(InputError) as refused:
        single_out(system, replace(failed, **changes), suspects)  # type: ignore[arg-type]
    assert refused.value.field == field
