from datetime import UTC, datetime
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from django.template import Context, Template
from hypothesis import given
from hypothesis import strategies as st

from accounts.presentation import (
    STATES,
    in_zone,
    number_text,
    quantity_beside_unit,
    quantity_in,
    quantity_shown,
    zone_label,
)
from calcs.units import Dimension, to_si

NOON = datetime(2026, 12, 9, 12, 0, tzinfo=UTC)


def written(text: str, **context: object) -> str:
    return Template("{% load wellhold %}" + text).render(Context(context))


@pytest.mark.parametrize(
    ("value", "places", "text"),
    [
        (10000, 0, "10,000"),
        (-14.696, 1, "−14.7"),
        (-0.04, 1, "0.0"),
        (2999.6, 1, "2,999.6"),
        (0.433, None, "0.433"),
        (5.0, None, "5"),
    ],
)
def test_numbers_are_written_with_separators_and_a_true_minus(value: float, places: int | None, text: str) -> None:
    assert number_text(value, places) == text


@given(st.floats(-1e9, 1e9), st.integers(0, 4))
def test_a_number_written_reads_back_within_half_its_last_place(value: float, places: int) -> None:
    read = float(number_text(value, places).replace(",", "").replace("−", "-"))
    assert abs(read - value) <= 0.5 * 10**-places + 1e-6


@pytest.mark.parametrize(
    ("dimension", "system", "shown"),
    [
        (Dimension.PRESSURE, "us", "3,000 psi"),
        (Dimension.PRESSURE, "si", "20,684 kPa"),
    ],
)
def test_a_quantity_is_shown_in_the_units_of_the_system(dimension: Dimension, system: str, shown: str) -> None:
    assert str(quantity_shown(to_si(3000, "psi", dimension), dimension, system)) == shown


@pytest.mark.parametrize(
    ("psi", "system", "places", "text"),
    [
        (15_000, "si", None, "103.42 MPa"),
        (1_400, "si", None, "9,653 kPa"),
        (15_000, "us", None, "15,000 psi"),
        (2_999.9, "si", 1, "20.6836 MPa"),
    ],
)
def test_a_large_metric_pressure_beside_its_unit_is_in_megapascals(psi, system, places, text) -> None:
    si = to_si(psi, "psi", Dimension.PRESSURE)
    assert str(quantity_beside_unit(si, Dimension.PRESSURE, system, places)) == text


def test_a_quantity_can_be_shown_in_a_unit_asked_for() -> None:
    assert str(quantity_in(to_si(60, "degF", Dimension.TEMPERATURE), Dimension.TEMPERATURE, "degF")) == "60 °F"


@pytest.mark.parametrize(
    ("zone", "label"),
    [("UTC", "UTC"), ("America/Chicago", "UTC−6"), ("Asia/Kolkata", "UTC+5:30"), ("America/St_Johns", "UTC−3:30")],
)
def test_a_zone_is_named_by_its_distance_from_utc(zone: str, label: str) -> None:
    assert zone_label(in_zone(NOON, zone)) == label


def test_the_zone_beside_a_deadline_follows_daylight_saving() -> None:
    summer = datetime(2026, 7, 1, 12, 0, tzinfo=UTC)
    assert [zone_label(in_zone(at, "Europe/Oslo")) for at in (NOON, summer)] == ["UTC+1", "UTC+2"]


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="without a zone"):
        in_zone(datetime(2026, 12, 9), "UTC")  # noqa: DTZ001 - the very mistake under test


def test_a_deadline_shows_its_zone_and_its_machine_form() -> None:
    page = written("{% local_time at zone %}", at=NOON, zone=ZoneInfo("America/Chicago"))
    assert "9 Dec 2026, 06:00" in page
    assert '<span class="zone">UTC−6</span>' in page
    assert 'datetime="2026-12-09T06:00:00-06:00"' in page


def test_a_zone_asked_for_in_full_names_the_place() -> None:
    assert "America/Chicago, UTC−6" in written("{% local_date at 'America/Chicago' full=True %}", at=NOON)


@pytest.mark.parametrize("key", STATES)
def test_every_state_has_a_word_beside_its_shape(key: str) -> None:
    page = written("{% state key %}", key=key)
    drawing = ElementTree.fromstring(page)
    assert drawing.find("svg[@aria-hidden='true']") is not None
    assert "".join(drawing.itertext()) == STATES[key].word


def test_no_two_states_share_a_shape_or_a_word() -> None:
    assert len({state.shape for state in STATES.values()}) == len(STATES) == len({s.word for s in STATES.values()})


def test_a_word_given_with_a_state_is_escaped() -> None:
    assert "<b>" not in written("{% state 'overdue' word %}", word="<b>Overdue</b>")


def test_decimal_points_stand_under_each_other_whatever_the_places() -> None:
    page = written("{% number 6.85 width=3 %}|{% number 12 width=3 %}|{% number None width=3 %}")
    first, second, third = page.split("|")
    assert '6<span class="frac frac-3">.85</span>' in first
    assert '12<span class="frac frac-3"></span>' in second
    assert "not given" in third


def test_an_entered_value_is_shown_as_it_was_written() -> None:
    assert written("{% as_entered 21.5 'gal' %}") == '<span class="nowrap">21.5 <span class="unit">US gal</span></span>'


def test_a_table_shows_numbers_and_its_head_the_unit() -> None:
    si = to_si(5000, "psi", Dimension.PRESSURE)
    assert written("{% quantity_number si 'pressure' 'us' %} {% unit_of 'pressure' 'us' %}", si=si) == "5,000 psi"
