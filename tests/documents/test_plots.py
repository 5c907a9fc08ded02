"""The plot of a step: what is marked where, and that text stays text."""

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.documents import examples
from tests_app.documents.plots import HEIGHT, WIDTH, Span, description, step_plot, ticks

SVG = "{http://www.w3.org/2000/svg}"


def texts(svg: str) -> list[str]:
    return [node.text or "" for node in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_the_plot_shows_the_whole_step_and_each_hold_close_up():
    said = texts(step_plot(examples.passing()["steps"][0]))
    assert [each for each in said if each in ("Whole step", "Low hold", "High hold")] == [
        "Whole step",
        "Low hold",
        "High hold",
    ]
    assert said.count("5:00 judged") == 2


def test_judged_windows_are_told_apart_by_label_and_by_pattern():
    svg = step_plot(examples.passing()["steps"][0])
    assert {"low", "high"} <= set(texts(svg))
    strokes, dots = 'stroke-width=".45"', 'stroke-linecap="round"'
    assert svg.count(strokes) == 2, "the low hold in the whole step, and close up"
    assert svg.count(dots) == 2


def test_limits_stand_on_the_axis_in_the_unit_of_the_curve():
    said = texts(step_plot(examples.passing()["steps"][0]))
    assert {"250", "350", "3,500"} <= set(said)


def test_limits_entered_in_another_unit_stand_where_they_belong():
    step = examples.passing()["steps"][0]
    metric = examples.passing()["steps"][0]
    metric["limits"] |= {
        "low_min": {"value": "1723.689323", "unit": "kPa"},
        "low_max": {"value": "2413.165053", "unit": "kPa"},
        "high_target": {"value": "24131.650526", "unit": "kPa"},
    }
    assert texts(step_plot(metric)) == texts(step_plot(step))


def test_a_hold_that_was_not_found_is_said_and_drawn_without_a_window():
    svg = step_plot(examples.failing()["steps"][3])
    assert "none found" in texts(svg)
    assert svg.count('stroke-linecap="round"') == 0


def test_nothing_is_drawn_outside_the_sheet():
    svg = step_plot(examples.failing()["steps"][3])
    for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", svg):
        assert 0 <= float(x) <= WIDTH
        assert 0 <= float(y) <= HEIGHT


def test_a_level_curve_can_be_drawn():
    step = examples.passing()["steps"][0]
    step["curve"] = {"unit": "psi", "t": [0.0, 1.0], "p": [3500.0, 3500.0]}
    assert "Whole step" in texts(step_plot(step))


def test_one_sample_can_be_drawn():
    step = examples.passing()["steps"][0]
    step["curve"] = {"unit": "psi", "t": [0.0], "p": [0.0]}
    step["low"] = step["high"] = None
    assert texts(step_plot(step)).count("none found") == 2


def test_a_step_without_a_curve_is_refused():
    step = examples.typed()["steps"][0]
    with pytest.raises(ValueError, match="Step 1 holds no curve"):
        step_plot(step)


def test_the_plot_in_words_tells_what_it_shows():
    told = description(examples.failing()["steps"][3])
    assert told.startswith("Pressure over time of step 4. The low hold lasts 5:00 minutes")
    assert told.endswith("No high hold was found.")


def test_the_same_step_gives_the_same_drawing():
    assert step_plot(examples.passing()["steps"][2]) == step_plot(examples.passing()["steps"][2])


@given(low=st.floats(0, 1e5), length=st.floats(1e-2, 1e5), about=st.integers(3, 8))
def test_ticks_are_round_numbers_inside_the_axis(low: float, length: float, about: int):
    found = ticks(Span(low, low + length), about)
    assert found == sorted(found)
    assert len(found) <= 3 * about
    rounding = 1e-8 * length + 1e-6
    assert all(low - rounding <= value <= low + length + rounding for value in found)
