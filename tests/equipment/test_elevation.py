"""The drawing of a stack, part by part."""

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.models import Component, ComponentKind, Position, PositionGroup, Stack
from equipment.queries.stacks import Standing
from equipment.web import elevation, symbols
from equipment.web.panels import StateMark
from tests.builders import SUBSEA_POSITIONS, SURFACE_POSITIONS


def standings(positions, *, serial: str = "SN-{}") -> list[Standing]:
    """Positions with a component in each, made in memory."""
    by_name: dict[str, Position] = {}
    found = []
    for number, (name, kind, group, outlet_of) in enumerate(positions, 1):
        position = Position(pk=number, order=number, name=name, kind=kind, group=group)
        if outlet_of:
            position.outlet_of = by_name[outlet_of]
        by_name[name] = position
        component = Component(pk=number, kind=kind, serial=serial.format(number))
        component.rated_working_pressure = "10000 psi"
        found.append(Standing(position, component, None))
    return found


def drawings(found, states=None, **options) -> list[ElementTree.Element]:
    html = elevation.draw(Stack(name="A stack"), found, states or {}, **options)
    return list(ElementTree.fromstring(str(html).replace("&larr;", "")))


def words(element) -> str:
    return " ".join("".join(text.itertext()) for text in element.iter("text"))


def place_of(drawing, pk: int) -> tuple[float, float]:
    """Where the symbol of a position stands."""
    link = next(one for one in drawing.iter("a") if one.get("href") == f"#position-{pk}")
    symbol = next(one for one in link.iter("g") if one.get("class", "").startswith("symbol"))
    x, y = re.findall(r"-?\d+", symbol.get("transform"))[:2]
    return float(x), float(y)


@pytest.mark.parametrize("positions", [SURFACE_POSITIONS, SUBSEA_POSITIONS])
def test_choke_side_stands_right_kill_side_left_and_the_top_at_the_top(positions):
    found = standings(positions)
    for drawing in drawings(found):
        bore = [place_of(drawing, one.position.pk) for one in found if one.position.group in ("bore", "riser")]
        assert len({x for x, _ in bore}) == 1
        assert [y for _, y in bore] == sorted(y for _, y in bore)
        axis = bore[0][0]
        for one in found:
            x, _ = place_of(drawing, one.position.pk)
            assert one.position.group != "choke-side" or x > axis
            assert one.position.group != "kill-side" or x < axis


def test_the_inner_valve_stands_nearer_the_bore_than_the_outer():
    found = standings(SURFACE_POSITIONS)
    wide, _ = drawings(found)
    keys = {one.position.name: one.position.pk for one in found}
    assert place_of(wide, keys["Inner choke valve"])[0] < place_of(wide, keys["Outer choke valve"])[0]
    assert place_of(wide, keys["Inner kill valve"])[0] > place_of(wide, keys["Outer kill valve"])[0]


def test_every_part_carries_name_serial_rating_and_state_in_words():
    found = standings(SURFACE_POSITIONS)
    states = {one.position.pk: StateMark("Overdue", "overdue", "bad") for one in found}
    wide, narrow = drawings(found, states)
    text = words(wide)
    for one in found:
        assert one.position.name in text
        assert one.component.serial in text
    assert text.count("10,000 psi") == len(found)
    assert text.count("Overdue") == len(found)
    marks = [one for one in narrow.iter("svg") if one.get("class") == "mark"]
    assert len(marks) == len(found)


def test_the_rating_stands_in_the_reader_s_units():
    wide, _ = drawings(standings(SURFACE_POSITIONS), units="si")
    assert "68.95 MPa" in words(wide)


def test_an_empty_position_says_so_in_words_and_outline():
    found = [Standing(one.position, None, None) for one in standings(SURFACE_POSITIONS)]
    wide, _ = drawings(found)
    assert words(wide).count("Empty") == len(found)
    assert {one.get("class") for one in wide.iter("g")} == {"symbol symbol-empty"}


def test_a_valve_whose_outlet_is_not_named_is_drawn_beside_the_stack():
    found = standings((("Ram", "pipe-ram", "bore", ""), ("Lost valve", "choke-valve", "choke-side", "")))
    wide, _ = drawings(found)
    assert "Lost valve" in words(wide)
    assert "Choke side" in words(wide)


def test_every_kind_has_a_drawing_of_its_own():
    drawn = {kind: symbols.BODIES.get(kind) or symbols.FITTINGS.get(kind) for kind in ComponentKind.values}
    assert None not in drawn.values()
    assert len(set(drawn.values())) == len(drawn)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_any_stack_is_drawn_whole_and_well_formed(data):
    """Whatever stands where, with whatever is written on it: each position is drawn once in either drawing."""
    rows = data.draw(
        st.lists(
            st.tuples(st.sampled_from(ComponentKind.values), st.sampled_from(PositionGroup.values), st.booleans()),
            max_size=12,
        )
    )
    name = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cn")), min_size=1, max_size=60)
    positions, bore = [], ""
    for number, (kind, group, hangs) in enumerate(rows):
        label = f"{number} {data.draw(name)}"
        positions.append((label, kind, group, bore if hangs and group in ("choke-side", "kill-side") else ""))
        bore = label if group == "bore" else bore
    for drawing in drawings(standings(positions, serial="<&'\"{}>")):
        drawn = [one.get("href") for one in drawing.iter("a")]
        assert sorted(drawn) == sorted(f"#position-{number}" for number in range(1, len(positions) + 1))


def test_a_state_too_long_for_its_place_is_said_in_whole_clauses():
    found = standings([("Standpipe valve 1", "standpipe-valve", "drive", None)])
    state = StateMark("Overdue by 2 days, last test not passed", "overdue", "bad", short="Overdue")
    wide, narrow = (drawing.itertext() for drawing in drawings(found, {1: state}))
    assert "Overdue by 2 days" in list(wide)
    assert "Overdue" in list(narrow)
