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


HALF = "0 3000\n12 2185\n20 1820\n28 1540\n36 1320"


def drawdown(readings: str, **changes: str) -> dict[str, str]:
    """Return a drawdown of twelve bottles as the form sends it."""
    return {
        **quantities(bottle_volume="10 gal", precharge="1000 psi"),
        **{"count": "12", "model": "nitrogen-isothermal", "volume_unit": "gal", "pressure_unit": "psi"},
        **{"counted": "total", "readings": readings},
        **changes,
    }


@pytest.mark.parametrize("name", ["volumetric-efficiency", "bottles-required"])
def test_factors_of_the_standard_have_no_default_and_the_page_says_why(web: Client, name: str):
    page = web.get(reverse("tests_app:calculation", args=[name])).content.decode()
    assert re.search(r'name="pressure_factor"[^>]*>', page)
    assert not re.search(r'name="(pressure|volume)_factor"[^>]*value=', page)
    assert "not confirmed to us" in page
    refused = ask(web, name, HANDBOOK | MODEL | quantities(functional_volume="30 gal") | {"pressure_factor": "1"})
    assert refused.status_code == 422
    assert 'href="#id_volume_factor' in refused.content.decode()


def test_volumetric_efficiency_shows_both_limits_and_which_governs(web: Client):
    page = said(ask(web, "volumetric-efficiency", HANDBOOK | {"model": "boyle-gauge"} | FACTORS))
    assert "Volumetric efficiency 0.500" in page  # 5.0 gal of a 10 gal bottle, the handbooks' own example
    assert "Pressure governs" in page


def test_the_best_precharge_stands_on_its_curve_beside_the_one_there_is(web: Client):
    answer = ask(web, "best-precharge", HANDBOOK | {"model": "boyle-gauge"})
    page = said(answer)
    assert "Best precharge 1,200 psi" in page  # by an ideal gas, slow: the minimum itself
    assert "With the precharge now 5 US gal" in page
    address = re.search(r'data-plot="([^"]+)"', answer.content.decode())
    assert address
    assert web.get(unescape(address[1])).json()["item"]


def test_best_precharge_asks_for_a_least_pressure_where_no_function_has_one(web: Client):
    bank = {name: value for name, value in HANDBOOK.items() if not name.startswith(("minimum", "precharge"))}
    refused = ask(web, "best-precharge", bank | MODEL | function(1, "Annular", "20"))
    assert refused.status_code == 422
    assert 'href="#id_minimum' in refused.content.decode()
    assert ask(web, "best-precharge", bank | MODEL | function(1, "Annular", "2", "1500")).status_code == 200


def test_a_drawdown_typed_or_pasted_is_fitted_and_what_it_cannot_tell_is_said(web: Client):
    answer = ask(web, "drawdown-fit", drawdown(HALF))
    page = said(answer)
    assert "95 % interval" in page
    assert "fix only the product of precharge and gas volume" in page
    assert "told apart no" in page
    pasted = "Drawn;Pressure\n0;3,000\n12;2,185\n20;1,820\n28;1,540\n36;1,320"
    assert said(ask(web, "drawdown-fit", drawdown(pasted))).count("95 % interval") == page.count("95 % interval")
    address = re.search(r'data-plot="([^"]+)"', answer.content.decode())
    assert address
    assert web.get(unescape(address[1])).json()["item"]


def test_fluid_counted_for_each_function_is_summed_from_the_start(web: Client):
    each = drawdown("0 3000\n12 2185\n8 1820\n8 1540\n8 1320", counted="each")
    shares = [
        re.search(r"Gas against nameplate ([\d.]+ %)", said(ask(web, "drawdown-fit", one)))
        for one in (each, drawdown(HALF))
    ]
    assert shares[0]
    assert shares[1]
    assert shares[0][1] == shares[1][1]


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ("0 3000\n12 2185 7\n20 1820", "Line 2"),
        ("0 3000\n12 4,5\n20 1820", "Line 2"),
        ("0 3000\n20 2000\n\n12 1800", "Line 4"),
        ("0 3000\n20 2000", "2 readings can't be fitted"),
        ("3 3000\n20 2000\n30 1800", "Line 1"),
        ("", "required"),
        ("nan nan", "0 readings can't be fitted"),
    ],
)
def test_a_reading_that_cannot_stand_is_named_by_its_line_and_nothing_is_lost(web: Client, readings: str, words: str):
    refused = ask(web, "drawdown-fit", drawdown(readings))
    assert refused.status_code == 422
    assert words in said(refused)
    assert 'href="#id_readings' in refused.content.decode()
    assert all(line in unescape(refused.content.decode()) for line in readings.splitlines())


def test_cautions_name_gas_laws_in_words_and_degrees_by_their_sign(web: Client):
    page = said(ask(web, "usable-volume", HANDBOOK | MODEL))
    answer = page.partition("A bottle gives")[2].partition("decision support")[0]
    assert "nitrogen-isentropic" not in answer
    assert "degF" not in answer
    assert "nitrogen discharged at once and cold" in answer
