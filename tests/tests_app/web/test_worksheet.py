"""The bank worksheet: what sets the gas laws apart stands on the page, and all of it stands in the address."""

import json
import re
from html import unescape

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from accounts.models import User
from tests import builders
from tests.builders_tests_app import World

HANDBOOK = {
    "bottle_volume_number": "10",
    "bottle_volume_unit": "gal",
    "count": "1",
    "precharge_number": "1000",
    "precharge_unit": "psi",
    "charged_number": "3000",
    "charged_unit": "psi",
    "minimum_number": "1200",
    "minimum_unit": "psi",
    "temperature_number": "15",
    "temperature_unit": "degC",
}
"""The bottle of "Formulas and Calculations for Drilling, Production and Workover", 2nd ed., chapter 2: 5.0 gal."""


def function(number: int, name: str, volume: str, least: str = "") -> dict[str, str]:
    return {
        f"function_{number}": name,
        f"volume_{number}_number": volume,
        f"volume_{number}_unit": "gal",
        f"least_{number}_number": least,
        f"least_{number}_unit": "psi",
    }


TWELVE = HANDBOOK | {"count": "12"} | function(1, "Annular", "20", "1500") | function(2, "Pipe ram", "12")


def ask(web: Client, asked: dict[str, str]) -> HttpResponse:
    return web.get(reverse("tests_app:bank-worksheet"), asked)


def said(answer: HttpResponse) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode())))


def cells(answer: HttpResponse, label: str) -> list[str]:
    """Return the four cells of the row with that label."""
    row = re.search(rf'<th scope="row">{label}.*?</tr>', answer.content.decode(), re.DOTALL)
    assert row is not None
    found = re.findall(r"<td[^>]*>(.*?)</td>", row[0], re.DOTALL)
    return [re.sub(r"<[^>]+>", " ", one).strip() for one in found]


def test_the_hand_sums_5_gallons_and_the_2_point_3_of_a_fast_discharge_stand_side_by_side(web: Client):
    answer = ask(web, HANDBOOK)
    assert answer.status_code == 200
    assert cells(answer, "Usable from a bottle") == ["5.00", "4.99", "4.79", "2.32"]
    words = said(answer)
    assert "The hand sum promises 5.0 US gal from a bottle; discharged at once, real nitrogen gives 2.3 US gal" in words
    assert "54 % less than the hand sum" in words
    assert "lies between: 2.3 US gal drawn fast" in words
    assert "Decision support only" in words


def test_what_a_law_gives_is_told_as_a_share_of_the_hand_sum(web: Client):
    assert cells(ask(web, HANDBOOK), "Against the hand sum") == ["0", "−0.2", "−4.1", "−53.7"]


def test_a_sequence_that_passes_by_hand_and_not_in_earnest_names_the_function_left_short(web: Client):
    answer = ask(web, TWELVE)
    assert cells(answer, "Sequence") == ["Passed", "Passed", "Passed", "Not passed"]
    assert cells(answer, "Falls short")[:3] == ["none", "none", "none"]
    assert cells(answer, "Falls short")[3].startswith("Annular")
    assert "and does not pass by fast nitrogen. A pass by one law alone proves nothing." in said(answer)
    assert cells(answer, "Annular")[0] == "2,000"  # 12 × 10 gal × 1,000 psi / (40 + 20) gal


def test_without_a_minimum_precharge_and_reserve_stand_for_it(web: Client):
    answer = ask(web, {**HANDBOOK, "minimum_number": "", "reserve_number": "200", "reserve_unit": "psi"})
    assert "Usable fluid down to 1,200 psi" in said(answer)
    assert "precharge and reserve stand for it" in said(answer)
    assert cells(answer, "Usable from a bottle")[0] == "5.00"


def test_the_subsea_bank_of_the_handbook_gives_4_point_38_gallons(web: Client):
    at_depth = {"depth_number": "1500", "depth_unit": "ft", "precharge_basis": "above-hydrostatic"}
    answer = ask(web, HANDBOOK | at_depth)
    assert cells(answer, "Usable from a bottle")[0] == "4.38"


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"precharge_number": "3100"}, "precharge", "Give a lower precharge, or check charged."),
        ({"minimum_number": "3200"}, "minimum", "The minimum is over the charged pressure."),
        ({"count": "0"}, "count", "greater than or equal to 1"),
        ({"count": ""}, "count", "This field is required"),
        ({"bottle_volume_number": "-10"}, "bottle_volume", "This is over zero."),
        ({"precharge_number": "nan"}, "precharge", "is not a number"),
        ({"charged_unit": "psia"}, "charged", "absolute pressure"),
        ({"temperature_number": "-150"}, "temperature", ""),
        ({"sea_temperature_number": "4", "sea_temperature_unit": "degC"}, "sea_temperature", "as set on deck only"),
        (function(1, "Annular", ""), "volume_1", "The closing volume is missing."),
        (function(3, "Annular", "0"), "volume_3", "This is over zero."),
        (function(2, "Annular", "20", "-5"), "least_2", "The minimum pressure is under zero"),
        ({"reserve_number": "2500", "reserve_unit": "psi", "minimum_number": ""}, "reserve", "Give a lower reserve."),
    ],
)
def test_bad_input_is_refused_beside_its_field_with_all_as_typed(
    web: Client, changed: dict[str, str], field: str, words: str
):
    answer = ask(web, HANDBOOK | changed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f'href="#id_{field}' in page
    assert words in said(answer)
    assert "Usable from a bottle" not in page
    for key, typed in (HANDBOOK | changed).items():
        assert not key.endswith("_number") or not typed or f'value="{typed}"' in page


def test_the_address_carries_the_whole_worksheet_there_and_back(web: Client):
    page = ask(web, TWELVE).content.decode()
    fields = dict(re.findall(r'<input[^>]*name="([^"]+)"[^>]*?value="([^"]*)"', page))
    for select in re.findall(r"<select.*?</select>", page, re.DOTALL):
        name, chosen = re.search(r'name="([^"]+)"', select), re.search(r'value="([^"]*)" selected', select)
        if name and chosen:
            fields[name[1]] = chosen[1]
    assert {key: value for key, value in fields.items() if TWELVE.get(key)} == {k: v for k, v in TWELVE.items() if v}
    assert cells(ask(web, fields), "Annular") == cells(ask(web, TWELVE), "Annular")


def test_filled_rows_are_followed_by_empty_ones_and_a_high_row_is_kept(web: Client):
    page = ask(web, HANDBOOK | function(7, "Blind shear ram", "16")).content.decode()
    assert 'name="volume_9_number"' in page
    assert 'value="Blind shear ram"' in page


def test_rows_beyond_the_last_are_not_made_at_anybodys_word(web: Client):
    page = ask(web, HANDBOOK | function(99, "Annular", "16")).content.decode()
    assert 'name="volume_40_number"' in page
    assert 'name="volume_41_number"' not in page


def plot(web: Client, asked: dict[str, str]) -> HttpResponse:
    return web.get(reverse("tests_app:bank-worksheet-plot"), asked)


def test_the_plot_names_every_gas_law_and_function_and_its_numbers_stand_in_the_table(web: Client):
    text = json.dumps(json.loads(plot(web, TWELVE).content)["item"])
    for words in ("Hand sum", "Boyle, absolute", "Nitrogen, slow", "Nitrogen, fast", "Annular", "Pipe ram"):
        assert words in text
    dashes = re.findall(r'"line_dash": (?:\{"type": "value", "value": )?(\[[^\]]*\]|"[a-z]+")', text)
    assert len(set(dashes)) >= 3  # the fourth curve is solid, which a plot has without being told
    at_minimum = cells(ask(web, TWELVE), "1,200")
    assert at_minimum[0] == "60.00"
    assert at_minimum == cells(ask(web, TWELVE), "Usable from the bank")


def test_the_plot_of_a_worksheet_without_an_answer_is_refused(web: Client):
    assert plot(web, HANDBOOK | {"count": "none"}).status_code == 422
    assert plot(web, {}).status_code == 422


def test_the_page_speaks_the_readers_units(web: Client, world: World):
    User.objects.filter(pk=world.supervisor.pk).update(display_units="si")
    answer = ask(web, HANDBOOK)
    assert cells(answer, "Usable from a bottle")[0] == "18.9"
    assert "18.9 L" in said(answer)


def test_only_who_is_signed_in_sees_it(db: None):
    for name in ("bank-worksheet", "bank-worksheet-plot"):
        assert Client().get(reverse(f"tests_app:{name}"), HANDBOOK).status_code == 302


def test_it_begins_empty_with_an_example_that_works(web: Client):
    page = web.get(reverse("tests_app:bank-worksheet")).content.decode()
    example = re.search(r'href="([^"]+)">Begin with', page)
    assert example is not None
    answer = web.get(unescape(example[1]))
    assert answer.status_code == 200
    assert cells(answer, "Usable from a bottle")[0] == "5.00"
    assert reverse("tests_app:bank-worksheet") in web.get(reverse("tests_app:calculations")).content.decode()


def test_a_bank_on_file_leads_to_the_worksheet_with_its_figures_filled_in(web: Client, world: World):
    bank = builders.a_bank(rig=world.rig, bottles=3)
    page = web.get(reverse("equipment:component", args=[bank.component_id])).content.decode()
    link = re.search(r'href="([^"]+)">Open its figures', page)
    assert link is not None
    answer = web.get(unescape(link[1]))
    assert answer.status_code == 200
    assert cells(answer, "Usable from a bottle")[0] == "5.00"
    assert cells(answer, "Usable from the bank")[0] == "15.00"


def test_a_subsea_bank_leads_there_with_its_depth(web: Client, world: World):
    bank = builders.a_bank(
        rig=world.rig,
        bottles=1,
        location="subsea",
        depth="1500 ft",
        control_fluid_gradient="0.445 psi/ft",
        precharge_basis="above-hydrostatic",
    )
    page = web.get(reverse("equipment:component", args=[bank.component_id])).content.decode()
    link = re.search(r'href="([^"]+)">Open its figures', page)
    assert link is not None
    assert cells(web.get(unescape(link[1])), "Usable from a bottle")[0] == "4.38"


def test_a_bank_without_bottles_and_other_components_offer_no_worksheet(web: Client, world: World):
    for component in (builders.a_bank(rig=world.rig).component, builders.a_component(world.rig)):
        assert "Open its figures" not in web.get(reverse("equipment:component", args=[component.pk])).content.decode()
