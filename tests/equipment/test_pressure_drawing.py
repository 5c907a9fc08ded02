"""The drawing of a pressure system: where its parts go, and what it says of a step without any colour."""

import re
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.documents.pressure_drawing import WIDE, Look, draw_sketch
from equipment.documents.pressure_layout import Block, blocks_of
from equipment.documents.pressure_sketch import Sketch, SketchedCavity, SketchedElement, sketch_of
from tests.builders import a_filled_stack, a_rig
from tests.builders_pressure_systems import a_pressure_system

BORE, CHOKE = "bore", "choke-side"


def a_cavity(name: str, part: str = BORE, *, pump: bool = False, vent: bool = False) -> SketchedCavity:
    return SketchedCavity(name, part, pump, vent)


def a_sketch() -> Sketch:
    """A ram over a plug, with one valve to a choke line."""
    return Sketch(
        (a_cavity("Sky", vent=True), a_cavity("Over the plug", pump=True), a_cavity("Well"), a_cavity("Line", CHOKE)),
        (
            SketchedElement("Ram", "Over the plug", "Sky"),
            SketchedElement("Plug", "Well", "Over the plug"),
            SketchedElement("Valve", "Over the plug", "Line"),
        ),
    )


def words(svg: str) -> list[str]:
    return re.findall(r">([^<]+)</text>", svg)


def crossings(block: Block) -> int:
    """How often links share a line, bars overlap, or a link runs through a bar it does not join."""
    bars = sum(
        one.row == other.row and one.first <= other.last and other.first <= one.last
        for one, other in combinations(block.bars, 2)
    )
    links = sum(
        one.column == other.column and one.top < other.bottom and other.top < one.bottom
        for one, other in combinations(block.links, 2)
    )
    through = sum(
        link.top < bar.row < link.bottom and bar.first <= link.column <= bar.last
        for link in block.links
        for bar in block.bars
    )
    return bars + links + through


def test_a_cavity_another_part_touches_is_drawn_again_there() -> None:
    bore, choke = blocks_of(a_sketch())

    assert [bar.cavity.name for bar in bore.bars] == ["Sky", "Over the plug", "Well"]
    assert [(bar.cavity.name, bar.elsewhere) for bar in choke.bars] == [("Over the plug", True), ("Line", False)]


def test_the_bore_runs_down_one_column() -> None:
    bore, _ = blocks_of(a_sketch())

    assert bore.columns == 1
    assert [(link.element.name, link.top, link.bottom) for link in bore.links] == [("Ram", 0, 1), ("Plug", 1, 2)]


@pytest.mark.django_db
@pytest.mark.parametrize("kind", ["surface", "subsea"])
def test_the_usual_system_is_drawn_without_a_crossing(kind: str) -> None:
    sketch = sketch_of(a_pressure_system(a_filled_stack(a_rig(), kind)))

    blocks = blocks_of(sketch)

    assert [crossings(block) for block in blocks] == [0] * len(blocks)
    assert sorted(link.element.name for block in blocks for link in block.links) == sorted(
        element.name for element in sketch.elements
    )


@st.composite
def sketches(draw: st.DrawFn) -> Sketch:
    """Cavities of two parts with elements anywhere between them."""
    count = draw(st.integers(2, 8))
    cavities = tuple(a_cavity(f"C{place}", draw(st.sampled_from([BORE, CHOKE]))) for place in range(count))
    ends = st.lists(st.integers(0, count - 1), min_size=2, max_size=2, unique=True)
    pairs = draw(st.lists(ends, max_size=14))
    elements = (SketchedElement(f"E{place}", f"C{one}", f"C{other}") for place, (one, other) in enumerate(pairs))
    return Sketch(cavities, tuple(elements))


@settings(max_examples=60, deadline=None)
@given(sketches())
def test_whatever_is_joined_every_element_reaches_both_its_cavities(sketch: Sketch) -> None:
    blocks = blocks_of(sketch)

    assert sorted(link.element.name for block in blocks for link in block.links) == sorted(
        element.name for element in sketch.elements
    )
    assert {bar.cavity.name for block in blocks for bar in block.bars} == {one.name for one in sketch.cavities}
    for block in blocks:
        rows = {bar.cavity.name: bar for bar in block.bars}
        for link in block.links:
            ends = [rows[name] for name in link.element.sides]
            assert {bar.row for bar in ends} == {link.top, link.bottom}
            assert link.top < link.bottom
            assert all(bar.first <= link.column <= bar.last for bar in ends)


def test_a_step_says_what_is_under_pressure_closed_and_proved_in_words() -> None:
    look = Look(
        pressurised=frozenset({"Over the plug"}),
        closed=frozenset({"Ram", "Plug", "Valve"}),
        shown=frozenset({"Ram"}),
        pump_point="Over the plug",
    )

    drawn = draw_sketch(a_sketch(), look, WIDE)

    said = words(drawn)
    assert said.count("pressure, pumped") == 2, "in the bore, and where the choke side begins"
    assert said.count("closed, proved") == 1
    assert said.count("closed") == 2
    assert 'class="hatch"' in drawn


def test_without_idle_parts_only_what_touches_pressure_is_drawn_outside_the_bore() -> None:
    sketch = a_sketch()
    dry = Look(pressurised=frozenset({"Sky"}), closed=frozenset())
    wet = Look(pressurised=frozenset({"Over the plug"}), closed=frozenset())

    assert "Valve" not in words(draw_sketch(sketch, dry, WIDE, idle=False))
    assert "Valve" in words(draw_sketch(sketch, wet, WIDE, idle=False))


def test_names_cannot_break_the_drawing() -> None:
    sketch = Sketch((a_cavity("A<b>&"), a_cavity("B")), (SketchedElement('"><script>', "A<b>&", "B"),))

    drawn = draw_sketch(sketch, Look(), WIDE)

    assert "<script" not in drawn
    assert "A&lt;b&gt;&amp;" in drawn


def test_a_sketch_kept_with_a_plan_is_drawn_as_it_was() -> None:
    sketch = a_sketch()

    assert Sketch.from_json(sketch.as_json()) == sketch
