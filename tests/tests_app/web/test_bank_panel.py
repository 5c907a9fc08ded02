"""Banks on the due list and on their own page: what is due, the last tests, the way to the worksheet."""

import re
from html import unescape
from urllib.parse import parse_qs, urlsplit

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from tests import builders
from tests.builders_drawdowns import BankWorld, a_sealed_drawdown, a_sealed_pump_test

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(bank_world: BankWorld) -> BankWorld:
    return bank_world


@pytest.fixture
def crew(world: BankWorld) -> Client:
    client = Client()
    client.force_login(world.supervisor)
    return client


def said(answer: HttpResponse) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode())))


def bank_page(crew: Client, world: BankWorld) -> HttpResponse:
    return crew.get(reverse("equipment:bank", args=[world.bank.pk]))


def test_a_bank_page_says_what_is_due_and_which_tests_were_the_last(crew: Client, world: BankWorld):
    before = said(bank_page(crew, world))
    assert "Last drawdown none on record" in before
    assert "The standard leaves the interval to the owner's schedule." in before
    drawdown, pump = a_sealed_drawdown(world), a_sealed_pump_test(world)
    page = said(bank_page(crew, world))
    assert f"Last drawdown Test {drawdown.number}" in page
    assert f"Last pump test Test {pump.number}" in page
    assert "As nameplate" in page
    assert reverse("tests_app:record", args=[drawdown.pk]) in bank_page(crew, world).content.decode()


def test_a_failed_drawdown_is_shown_as_the_last_one(crew: Client, world: BankWorld):
    record = a_sealed_drawdown(world, share=1.25)
    page = said(bank_page(crew, world))
    assert re.search(rf"Last drawdown Test {record.number} , .*? Not passed", page)


def test_the_bank_page_and_its_component_lead_to_the_worksheet_with_the_figures(crew: Client, world: BankWorld):
    component = crew.get(reverse("equipment:component", args=[world.bank.component_id]))
    for page in (bank_page(crew, world), component):
        links = re.findall(r'href="([^"]*bank-worksheet[^"]*)"', page.content.decode())
        asked = parse_qs(urlsplit(unescape(links[0])).query)
        assert asked["count"] == ["12"]
        assert asked["precharge_number"] == ["1000"]
        assert crew.get(unescape(links[0])).status_code == 200


def test_the_due_list_is_narrowed_to_what_has_to_be_done_and_exports_it(crew: Client, world: BankWorld):
    address = reverse("tests_app:rig", args=[world.rig.pk])
    everything = said(crew.get(address))
    assert "Drawdown test" in everything
    assert "Upper pipe ram" in everything
    only = said(crew.get(address, {"what": "drawdown"}))
    assert "Main bank" in only or "Accumulator bank" in only
    assert "Upper pipe ram" not in only
    rows = crew.get(address, {"what": "precharge", "export": "csv"}).content.decode().splitlines()
    assert len(rows) == 2
    assert "Precharge check" in rows[1]


def test_a_round_says_how_the_gauge_stood_that_day(crew: Client, world: BankWorld):
    page = said(bank_page(crew, world))
    assert "Gauge then calibrated until 15 Jan 2027, certificate CAL-0001." in page
    old = builders.an_instrument(world.rig, "gauge", calibration_due_on=None)
    taken_at = world.check.taken_at.replace(minute=30)
    builders.a_precharge_check(world.bank, instrument=old, taken_at=taken_at, at=taken_at)
    assert "No calibration of the gauge was on file." in said(bank_page(crew, world))


def test_a_person_of_another_rig_sees_no_bank(world: BankWorld):
    stranger = Client()
    stranger.force_login(builders.a_person(rig=builders.a_rig()))
    assert bank_page(stranger, world).status_code == 404
