"""The calculations as pages: the answer with its working, the address that carries it, refusals beside the field."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from tests.recordings_made import Curve, step
from tests_app.web.calculator_forms import CALCULATION_FORMS


def ask(web: Client, name: str, **fields: str) -> HttpResponse:
    return web.get(reverse("tests_app:calculation", args=[name]), fields)


def said(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_every_calculation_has_a_page_with_its_caution(web: Client):
    index = web.get(reverse("tests_app:calculations")).content.decode()
    for name, form in CALCULATION_FORMS.items():
        address = reverse("tests_app:calculation", args=[name])
        page = said(web.get(address))
        assert address in index
        assert form.title in page
        assert "Decision support only" in page


def test_an_unknown_calculation_is_not_found(web: Client):
    assert ask(web, "gravity").status_code == 404


def test_a_mud_column_is_worked_out_from_the_address_alone(web: Client):
    column = {"mud_weight_number": "10", "mud_weight_unit": "lb/gal", "depth_number": "7000", "depth_unit": "ft"}
    exact, rounded = ask(web, "hydrostatic", **column), ask(web, "hydrostatic", **column, constant="0.052")
    assert "3,636.4 psi" in said(exact)  # 10 lb/gal in exact units (NIST SP 811 factors)
    assert "3,640 psi" in said(rounded)  # 0.052 × 10 × 7,000
    assert "Working" in said(exact)


def test_a_figure_left_out_is_refused_beside_its_field_with_the_rest_as_typed(web: Client):
    answer = ask(web, "hydrostatic", mud_weight_number="10.55", mud_weight_unit="lb/gal")
    assert answer.status_code == 422
    assert "Give a number and its unit" in said(answer)
    assert 'value="10.55"' in answer.content.decode()


def test_masp_names_what_governs(web: Client):
    asked = {"method": "lesser"}
    for name, number, unit in (
        ("pore_pressure", "6000", "psi"),
        ("depth", "10000", "ft"),
        ("gas_gradient", "0.1", "psi/ft"),
        ("fracture_gradient", "0.8", "psi/ft"),
        ("shoe_depth", "5000", "ft"),
    ):
        asked |= {f"{name}_number": number, f"{name}_unit": unit}
    page = said(ask(web, "masp", **asked))
    assert "3,500 psi" in page  # (0.8 − 0.1) × 5,000
    assert "Fracture pressure at the shoe less the gas column governs." in page


def test_masp_of_a_method_whose_figures_are_missing_says_which(web: Client):
    gas = {"gas_gradient_number": "0.1", "gas_gradient_unit": "psi/ft"}
    answer = ask(web, "masp", method="fracture-gas", **gas)
    assert answer.status_code == 422
    assert "id_shoe_depth" in answer.content.decode()


def test_test_pressures_of_an_annular_show_the_70_percent_and_their_clause(web: Client):
    asked = {
        "rule": "us-ocs/2023",
        "kind": "annular",
        "rwp_number": "10000",
        "rwp_unit": "psi",
        "stack": "surface",
        "position": "above-uppermost-ram",
        "recorder": "none",
    }
    page = said(ask(web, "test-pressures", **asked))
    assert "7,000 psi" in page  # 30 CFR 250.737(b)(3): 70 % of the rated working pressure
    assert "30 CFR 250.737" in page


def test_a_deadline_falls_at_the_end_of_the_last_day_on_the_rigs_clock(web: Client):
    asked = {
        "concluded": "2026-03-01T02:10",
        "interval": "14 d",
        "deadline": "midnight",
        "zone": "America/Chicago",
        "at": "2026-03-10T12:00",
    }
    page = said(ask(web, "due", **asked))
    assert "midnight at the end of 15 Mar 2026, UTC−5" in page
    assert "In date" in page


def test_the_moment_asked_for_is_now_on_the_clock_of_the_zone_shown(web: Client):
    page = web.get(reverse("tests_app:calculation", args=["due"])).content.decode()
    # The test's now is 2 March 2026, 16:00 UTC: 10:00 in Chicago.
    assert 'value="America/Chicago"' in page
    assert 'value="2026-03-02T10:00"' in page


@pytest.mark.parametrize(
    ("field", "given", "words"),
    [
        ("zone", "Rig/Time", "is not a time zone"),
        ("interval", "a fortnight", "An interval is a whole number"),
        ("concluded", "yesterday", "is not a date and time"),
        ("deadline", "never", "Select a valid choice"),
    ],
)
def test_a_deadline_that_cannot_be_asked_for_is_refused(web: Client, field: str, given: str, words: str):
    asked = {"concluded": "2026-03-01T02:10", "interval": "14 d", "deadline": "midnight", "zone": "America/Chicago"}
    answer = ask(web, "due", **{**asked, "at": "2026-03-10T12:00", field: given})
    assert answer.status_code == 422
    assert words in said(answer)


def hold_check(web: Client, **changes: object) -> HttpResponse:
    sent: dict[str, object] = {"file": SimpleUploadedFile("pump.csv", step(high=5_060).csv().encode())}
    for name, number, unit in (
        ("low_min", "250", "psi"),
        ("low_max", "350", "psi"),
        ("restart_above", "500", "psi"),
        ("target", "5000", "psi"),
        ("hold", "5", "min"),
    ):
        sent |= {f"{name}_number": number, f"{name}_unit": unit}
    return web.post(reverse("tests_app:calculation", args=["hold-check"]), {**sent, **changes})


def test_a_recorder_file_is_judged_without_a_record(web: Client):
    page = said(hold_check(web))
    assert "Low hold passed" in page
    assert "High hold passed" in page
    assert "Judged on" in page


def test_a_hold_too_high_for_the_file_is_said_in_words(web: Client):
    page = said(hold_check(web, target_number="9000"))
    assert "Never reached 9,000 psi after the low hold; the highest then was 5,060 psi" in page


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"file": ""}, "Choose the recorder"),
        ({"file": SimpleUploadedFile("x.csv", b"")}, "file is empty"),
        ({"file": SimpleUploadedFile("x.png", b"\x89PNG\x00\x00")}, "not text"),
        ({"hold_number": "-5"}, "negative"),
        ({"hold_unit": "furlong"}, "not a unit"),
        ({"low_max_number": "200"}, "under its bottom"),
    ],
)
def test_a_check_that_cannot_be_made_is_refused(web: Client, changes: dict[str, object], words: str):
    answer = hold_check(web, **changes)
    assert answer.status_code == 422
    assert words in said(answer)


NO_BAND = {f"{name}_number": "" for name in ("low_min", "low_max", "restart_above")}


def test_without_a_low_test_the_high_hold_alone_is_judged(web: Client):
    page = said(hold_check(web, low_test="none", **NO_BAND))
    assert "No low test was asked: the high one alone is judged." in page
    assert "High hold passed" in page
    assert "Low hold" not in page
    assert 'data-when="low_test"' in hold_check(web).content.decode()


def test_a_low_band_is_never_left_out_by_mistake(web: Client):
    answer = hold_check(web, **NO_BAND)
    assert answer.status_code == 422
    assert said(answer).count("This is missing. Fill it in, or say that no low test is asked.") >= 3


def test_the_holds_of_a_test_without_low_holds_are_found(web: Client):
    curve = step(high=3_560).then(step(high=5_060))
    page = said(find_holds(web, curve, "3500", "5000", low_test="none", **NO_BAND))
    assert "Proposed for step 2" in page
    assert "Low hold" not in page
    own = {"low_from_1_number": "250", "low_from_1_unit": "psi"}
    refused = find_holds(web, curve, "3500", low_test="none", **NO_BAND, **own)
    assert refused.status_code == 422
    assert "No low test is asked above." in said(refused)


def test_a_check_of_200_megabytes_is_refused_unread(web: Client):
    address = reverse("tests_app:calculation", args=["hold-check"])
    assert web.generic("POST", address, CONTENT_LENGTH="200000000").status_code == 413


def find_holds(web: Client, curve: Curve, *targets: str, **changes: object) -> HttpResponse:
    sent: dict[str, object] = {"recording_csv": curve.csv()}
    shared = {"low_min": "250 psi", "low_max": "350 psi", "restart_above": "500 psi", "hold": "5 min"}
    steps = {f"target_{number}": f"{target} psi" for number, target in enumerate(targets, start=1)}
    for name, quantity in {**shared, **steps}.items():
        number, unit = quantity.split()
        sent |= {f"{name}_number": number, f"{name}_unit": unit}
    return web.post(reverse("tests_app:calculation", args=["find-holds"]), {**sent, **changes})


def test_the_holds_of_a_whole_test_are_proposed_for_its_steps(web: Client):
    page = said(find_holds(web, step(high=3_560).then(step(high=5_060)), "3500", "5000", "9000"))
    assert re.search(r"Hold 1, .* Proposed for step 1 .* Hold 2, .* Proposed for step 2", page)
    assert "Left without a hold: step 3." in page


def test_a_step_with_a_longer_hold_of_its_own_is_judged_by_it(web: Client):
    own = {"lasts_1_number": "30", "lasts_1_unit": "min"}
    page = said(find_holds(web, step(high=5_060), "5000", **own))
    assert "of the 30 min needed" in page


def test_no_step_and_a_row_without_its_pressure_are_refused_beside_it(web: Client):
    nothing = find_holds(web, step())
    assert nothing.status_code == 422
    assert "No step is given." in said(nothing)
    half = find_holds(web, step(), "5000", low_to_2_number="300", low_to_2_unit="psi")
    assert half.status_code == 422
    assert "The high pressure is missing." in said(half)


def test_a_rule_that_contradicts_itself_is_refused_beside_the_step(web: Client):
    answer = find_holds(web, step(), "5000", "300")
    assert answer.status_code == 422
    assert "The high target does not lie over the low band." in said(answer)
    assert 'href="#id_target_2' in answer.content.decode()


def test_the_answer_says_which_of_several_columns_was_read(web: Client):
    rows = "\n".join(f"{t:.0f},{p:.1f},1.5" for t, p in zip(step().t, step().p, strict=True))
    two = f"Time (s),Pump (psi),Standpipe (bar)\n{rows}\n"
    page = said(find_holds(web, step(), "5000", recording_csv=two))
    assert "Read from Pump (psi). The file has other pressure columns: Standpipe (bar)." in page


def test_a_pressure_left_to_a_permit_is_asked_for_with_the_permits_reference(web: Client):
    ram = {"rule": "no/d-010", "kind": "pipe-ram", "rwp_number": "10000", "rwp_unit": "psi", "stack": "surface"}
    asked = {**ram, "recorder": "digital"}
    assert ask(web, "test-pressures", **asked).status_code == 422
    named = {"approved_pressure_number": "5000", "approved_pressure_unit": "psi"}
    unnamed = ask(web, "test-pressures", **asked, **named)
    assert unnamed.status_code == 422
    page = said(ask(web, "test-pressures", **asked, **named, approval="Programme 4"))
    assert "Pressure approved under Programme 4." in page
    assert "5,000 psi" in page


def test_only_rules_and_occasions_that_ask_for_pressure_tests_are_offered(web: Client):
    page = ask(web, "test-pressures").content.decode()
    assert 'value="us-blm/2023"' in page
    assert 'value="us-pa/short"' not in page
    assert 'value="before-drill-out"' in page
    assert 'value="test-planned"' not in page
