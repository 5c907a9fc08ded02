"""The accumulator calculations as pages: every gas law beside the others, refusals beside the field."""

import re
from html import unescape

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from tests.tests_app.web.test_worksheet import HANDBOOK, function

MODEL = {"model": "nitrogen-isentropic"}
FACTORS = {"pressure_factor": "1", "volume_factor": "1"}


def quantities(**given: str) -> dict[str, str]:
    """Return the fields of quantities, each written with its unit."""
    found = {}
    for name, text in given.items():
        number, _, unit = text.partition(" ")
        found |= {f"{name}_number": number, f"{name}_unit": unit}
    return found


def ask(web: Client, name: str, asked: dict[str, str]) -> HttpResponse:
    return web.get(reverse("tests_app:calculation", args=[name]), asked)


def said(answer: HttpResponse) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode())))


def test_usable_fluid_shows_the_hand_sum_and_the_fast_discharge_together(web: Client):
    page = said(ask(web, "usable-volume", HANDBOOK | MODEL))
    assert "A bottle gives 2.32 US gal" in page
    assert "the handbooks' hand sum on gauge pressures 5 US gal" in page
    assert "Real nitrogen instead of an ideal gas" in page


def test_pressure_after_refuses_more_than_the_bank_holds_and_says_how_much_it_can_give(web: Client):
    within = ask(web, "pressure-after", HANDBOOK | {"model": "boyle-gauge"} | quantities(withdrawn="5 gal"))
    assert "1,200 psi" in said(within)  # 10 × 1,000 / (10/3 + 5)
    over = ask(web, "pressure-after", HANDBOOK | MODEL | quantities(withdrawn="9 gal"))
    assert over.status_code == 422
    assert "it can give" in said(over)
    assert 'href="#id_withdrawn' in over.content.decode()


def test_a_closing_sequence_names_the_function_that_falls_short(web: Client):
    asked = HANDBOOK | {"count": "12"} | MODEL | function(1, "Annular", "20", "1500") | function(2, "Pipe ram", "12")
    page = said(ask(web, "closing-sequence", asked))
    assert "Not passed" in page
    assert "Annular: 1,4" in page
    assert "falls short" in page


def test_a_sequence_without_functions_is_refused_beside_the_first_row(web: Client):
    answer = ask(web, "closing-sequence", HANDBOOK | MODEL)
    assert answer.status_code == 422
    assert "List those to be worked." in said(answer)
    assert 'href="#id_volume_1' in answer.content.decode()


def test_sizing_takes_its_factors_from_the_readers_own_edition_and_has_none_of_its_own(web: Client):
    empty = web.get(reverse("tests_app:calculation", args=["bottles-required"]))
    assert "from your own edition" in said(empty)
    assert "not confirmed to us" in said(empty)
    without = ask(web, "bottles-required", HANDBOOK | MODEL | quantities(functional_volume="30 gal"))
    assert without.status_code == 422
    assert 'href="#id_pressure_factor' in without.content.decode()


def test_bottles_by_the_hand_sum_and_by_a_fast_discharge_stand_together(web: Client):
    page = said(ask(web, "bottles-required", HANDBOOK | MODEL | FACTORS | quantities(functional_volume="24.75 gal")))
    assert "Bottles 11" in page  # 24.75 / 2.316
    assert "hand sum on gauge pressures 5 " in page  # 24.75 / 5.0, rounded up
    assert "Pressure governs" in page


def test_bottles_for_a_sequence_tell_how_many_pass_it_in_its_order(web: Client):
    asked = HANDBOOK | MODEL | FACTORS | function(1, "Annular", "20", "1500")
    page = said(ask(web, "bottles-required", asked))
    assert "The sequence on" in page
    assert "Closed in its order, the sequence needs" in page


def test_a_precharge_on_a_colder_day_is_lower_by_real_nitrogen(web: Client):
    asked = quantities(precharge="1000 psi", read_at="70 degF", wanted_at="40 degF") | {"model": "nitrogen-isothermal"}
    page = said(ask(web, "precharge-at-temperature", asked))
    assert "933 psi" in page
    assert "942.5 psi" in page
    refused = ask(web, "precharge-at-temperature", asked | quantities(wanted_at="-300 degF"))
    assert refused.status_code == 422
    assert 'href="#id_wanted_at' in refused.content.decode()


def test_the_handbooks_drawdown_gives_917_psi_and_says_what_nitrogen_makes_of_it(web: Client):
    asked = quantities(total_volume="180 gal", withdrawn="20 gal", start="3000 psi", end="2200 psi")
    page = said(ask(web, "precharge-from-drawdown", asked | {"model": "boyle-gauge"}))
    assert "916.7 psi" in page  # "Formulas and Calculations for Drilling, Production and Workover", 2nd ed.: 917
    assert "Real nitrogen, warmed back before it was read" in page


def test_a_ram_of_ratio_9_closes_against_10000_psi_with_1111(web: Client):
    asked = quantities(wellbore_pressure="10000 psi") | {"closing_ratio": "9"}
    assert "1,111.1 psi" in said(ask(web, "closing-pressure", asked))
    pipe = quantities(pipe_od="5 in", pipe_id="4.276 in", yield_strength="135000 psi", closing_area="200 in^2")
    sheared = said(ask(web, "closing-pressure", asked | pipe))
    assert "the maker's tested pressure prevails" in sheared
    assert "To shear" in sheared


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        (quantities(pipe_od="5 in"), "pipe_id"),
        ({"closing_ratio": "0.5"}, "closing_ratio"),
        (quantities(wellbore_pressure="-5 psi"), "wellbore_pressure"),
    ],
)
def test_a_closing_pressure_that_cannot_be_worked_out_is_refused_beside_its_field(
    web: Client, changed: dict[str, str], field: str
):
    asked = quantities(wellbore_pressure="10000 psi") | {"closing_ratio": "9"} | changed
    answer = ask(web, "closing-pressure", asked)
    assert answer.status_code == 422
    assert f'href="#id_{field}' in answer.content.decode()
