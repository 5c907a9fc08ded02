"""Printed figures: never better than what was measured, digits as entered, moments with their zone."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests_app.documents import figures
from tests_app.web import wording

PRESSURES = st.floats(0, 200_000)


def number(text: str) -> float:
    return float(text.replace(",", "").replace("−", "-"))


@given(PRESSURES)
def test_a_lowest_pressure_is_never_printed_higher_than_it_was(value: float):
    printed = number(figures.held({"value": value, "unit": "psi"}, "psi", figures.down))
    assert value - 0.1 - 1e-6 <= printed <= value + 0.0011


@given(PRESSURES)
def test_a_decay_is_never_printed_smaller_than_it_was(value: float):
    printed = number(figures.held({"value": value, "unit": "psi"}, "psi", figures.up))
    assert value - 0.0011 <= printed <= value + 0.1 + 1e-6


def test_what_conversion_leaves_does_not_push_a_figure_under_its_limit():
    held = {"value": 34473.78646584181 - 1e-7, "unit": "kPa"}
    assert figures.held(held, "psi", figures.down) == "5,000.0"


def test_just_under_a_limit_stays_under_it():
    assert figures.held({"value": 2999.96, "unit": "psi"}, "psi", figures.down) == "2,999.9"


@pytest.mark.parametrize(
    ("value", "text"), [("10000", "10,000"), ("10000.50", "10,000.50"), ("0", "0"), ("-250", "−250"), (3500.0, "3,500")]
)
def test_digits_are_kept_as_entered_with_thousands_apart(value: str | float, text: str):
    assert figures.grouped(value) == text


def test_a_requirement_is_printed_as_entered_or_rounded_against_the_test():
    assert figures.required({"value": "10000", "unit": "psi"}, "psi") == "10,000"
    assert figures.band({"value": "250", "unit": "psi"}, {"value": "350", "unit": "psi"}, "kPa") == "1,723.7–2,413.1"


def test_a_quantity_in_another_unit_shows_both():
    assert figures.entered({"value": "345", "unit": "bar"}, "us") == "345 bar (5,004 psi)"
    assert figures.entered({"value": "5000", "unit": "psi"}, "us") == "5,000 psi"
    assert figures.entered(None, "us") == "–"


def test_durations_are_cut_and_never_rounded_up():
    assert figures.duration(299.9) == "4:59"
    assert figures.duration(300.0) == "5:00"
    assert figures.duration(3750) == "1:02:30"
    assert figures.minutes(300) == "5 min"
    assert figures.minutes(90) == "90 s"


def test_moments_are_read_on_the_rigs_clock_with_its_zone():
    moment = {"utc": "2026-03-14T08:10:00Z", "local": "2026-03-14T02:10:00-06:00"}
    assert figures.moment_text(moment) == "14 Mar 2026, 02:10 UTC−6"
    assert figures.utc_text(moment) == "14 Mar 2026, 08:10 UTC"
    assert figures.day_text("2026-03-04") == "4 Mar 2026"
    assert figures.day_text("") == "–"


def test_a_hold_is_rounded_on_a_page_as_on_paper():
    fallen = {"value": 2_999.96, "unit": "psi"}
    assert figures.held(fallen, "psi", figures.down) == "2,999.9"
    assert "2,999.9" in wording.said_least(fallen)
    risen = {"value": 10_000.04, "unit": "psi"}
    assert figures.held(risen, "psi", figures.up) == "10,000.1"
    assert "10,000.1" in wording.said_most(risen)
    assert "10,000.0" in wording.said_held(risen)
