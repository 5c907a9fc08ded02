"""The curve that stands on a page before, and without, the script that draws it."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from tests.builders_tests_app import World, a_draft, a_judged_draft, a_recording, good
from tests_app.web.still_plots import HEIGHT, still_plot


def drawn(svg: str) -> list[tuple[float, float]]:
    points = re.search(r'<polyline points="([^"]+)"', svg)
    assert points
    return [(float(x), float(y)) for x, y in (pair.split(",") for pair in points[1].split())]


def test_no_peak_is_lost_where_many_samples_share_a_point():
    pressures = [1e6] * 2_000
    pressures[777] = 7e7
    svg = still_plot({"t": list(range(2_000)), "p": pressures}, [], "us")
    assert min(y for _, y in drawn(svg)) == pytest.approx(HEIGHT * (1 - 1 / 1.05), abs=0.1)
    assert "145 to 10,153 psi over 0:33:19." in svg


def test_a_failed_hold_is_told_apart_from_a_passed_one():
    holds = [{"start_s": 1, "end_s": 3, "passes": True}, {"start_s": 5, "end_s": 8, "passes": False}, None]
    svg = still_plot({"t": [0, 10], "p": [0, 1e7]}, holds, "si")
    assert (svg.count("tone-good"), svg.count("tone-bad")) == (1, 1)


def test_without_a_curve_there_is_nothing_to_draw():
    assert still_plot({"t": [], "p": []}, [], "us") == still_plot(None, [], "us") == ""


@pytest.mark.parametrize("of_step", [True, False])
def test_the_page_of_a_draft_shows_the_curve_without_any_script(web: Client, world: World, of_step: bool):
    record = a_judged_draft(world) if of_step else a_draft(world)
    if not of_step:
        a_recording(record, world, good())
    page = web.get(reverse("tests_app:record", args=[record.pk])).content.decode()
    assert page.count('<svg class="still"') == 1
    assert "being drawn" not in page
