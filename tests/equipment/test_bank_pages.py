"""The pages of accumulator banks through the client: what they show, keep and refuse."""

import csv
import io
import re
from copy import deepcopy
from datetime import timedelta
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from equipment.actions import banks as actions
from equipment.models import Bank, Bottle, PrechargeCheck, PrechargeReading
from tests import builders as a
from tests.kept import Keep

pytestmark = pytest.mark.django_db


class World:
    """A rig with a stack, a bank of three bottles standing in it, a gauge, and people."""

    def __init__(self) -> None:
        self.rig = a.a_rig("Calder Bank")
        self.stack = a.a_stack(self.rig, positions=(("Main bank", "accumulator-bank", "control", ""),))
        self.component = a.an_installation(self.stack.positions.get()).component
        self.gauge = a.an_instrument(self.rig, "gauge", range_high="3000 psi", accuracy_percent="0.5")
        self.supervisor = a.a_person("Ada Quill", rig=self.rig)
        self.tester = a.a_person("Ben Marsh", rig=self.rig, role="tester")
        self.auditor = a.a_person("Dirk Holm", rig=self.rig, role="auditor")

    def with_bank(self, **facts) -> "World":
        self.bank = a.a_bank(self.component, bottles=3, **facts)
        self.bottles = list(self.bank.bottles.order_by("position_number"))
        return self


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    return keep(World)


@pytest.fixture
def world(kept_world: World, db: None) -> World:
    return deepcopy(kept_world)


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def at(name: str, *args) -> str:
    return reverse(f"equipment:{name}", args=args)


def read_page(client: Client, address: str) -> str:
    return unescape(client.get(address).content.decode())


def in_words(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


BANK_TYPED = {
    "purpose": "main",
    "location": "surface",
    "precharge_basis": "as-set",
    "design_precharge_number": "1,000",
    "design_precharge_unit": "psi",
    "reference_temperature_number": "70",
    "reference_temperature_unit": "degF",
    "charged_pressure_number": "3000",
    "charged_pressure_unit": "psi",
    "precharge_tolerance_number": "100",
    "precharge_tolerance_unit": "psi",
    "tolerance_source": "Own procedure",
}


def round_typed(world: World, *pressures: str, **changes) -> dict[str, str]:
    typed = {
        "taken_at": "2026-03-02T06:00",
        "taken_by": "Ben Marsh",
        "instrument": str(world.gauge.pk),
        "fluid_bled_off": "on",
        "pressure_unit": "psi",
        "temperature_unit": "degF",
        "common_temperature": "70",
    }
    for bottle, pressure in zip(world.bottles, pressures, strict=False):
        typed[f"pressure-{bottle.pk}"] = pressure
    return {**typed, **changes}


# The way to a bank


def test_a_bank_is_reached_from_its_component_and_from_the_stack(world):
    client = signed_in(world.supervisor)
    way = at("component-bank", world.component.pk)
    assert way in read_page(client, at("stack", world.stack.pk))
    assert client.get(way).url == f"{at('component', world.component.pk)}#bank"
    assert at("bank-new", world.component.pk) in read_page(client, at("component", world.component.pk))
    world.with_bank()
    assert client.get(way).url == at("bank", world.bank.pk)
    assert at("bank", world.bank.pk) in read_page(client, at("component", world.component.pk))


def test_no_other_component_speaks_of_bottles(world):
    ram = a.a_component(world.rig)
    assert "Bottles and precharge" not in read_page(signed_in(world.supervisor), at("component", ram.pk))


# The bank and its bottles


def test_a_bank_is_put_on_file_and_amended(world):
    client = signed_in(world.supervisor)
    answer = client.post(at("bank-new", world.component.pk), BANK_TYPED)
    bank = Bank.objects.get()
    assert answer.url == at("bank", bank.pk)
    assert "No bottle is on file" in read_page(client, answer.url)
    client.post(at("bank-edit", bank.pk), {**BANK_TYPED, "design_precharge_number": "950"})
    bank.refresh_from_db()
    assert str(bank.design_precharge) == "950 psi"


@pytest.mark.parametrize(
    ("changes", "part"),
    [
        ({"tolerance_source": ""}, "names where it comes from"),
        ({"location": "subsea"}, "needs its depth"),
        ({"design_precharge_number": "4000"}, "charged to more than its precharge"),
        ({"design_precharge_number": "nan"}, "is not a number"),
        ({"reference_temperature_number": ""}, "Give a number and its unit"),
    ],
)
def test_a_bank_refused_says_why_and_keeps_what_was_typed(world, changes, part):
    typed = {**BANK_TYPED, "remarks": "Typed for an hour", **changes}
    answer = signed_in(world.supervisor).post(at("bank-new", world.component.pk), typed)
    page = unescape(answer.content.decode())
    assert answer.status_code == 422
    assert part in page
    assert "Typed for an hour" in page
    assert not Bank.objects.exists()


def test_a_second_bottle_is_offered_like_the_first(world):
    world.with_bank()
    client = signed_in(world.supervisor)
    address = at("bottle-new", world.bank.pk)
    page = read_page(client, address)
    assert 'name="position_number" value="4"' in page
    assert 'name="gas_volume_number" value="10"' in page
    typed = {
        "position_number": "4",
        "serial": "BT-NEW",
        "shell_volume_number": "11",
        "shell_volume_unit": "gal",
        "gas_volume_number": "11",
        "gas_volume_unit": "gal",
        "in_service_on": "2026-03-01",
        "another": "on",
    }
    refused = client.post(address, typed)
    assert refused.status_code == 422
    assert "10 gal in a bottle of 11 gal" in refused.content.decode()
    assert client.post(address, {**typed, "gas_volume_number": "10"}).url == address
    assert Bottle.objects.get(serial="BT-NEW").position_number == 4


def test_a_bottle_is_shut_off_with_its_reason_and_shown_so(world):
    world.with_bank()
    client = signed_in(world.supervisor)
    typed = {"state": "shut-off", "state_since": "2026-03-01", "state_reason": ""}
    address = at("bottle-state", world.bottles[0].pk)
    assert client.post(address, typed).status_code == 422
    client.post(address, {**typed, "state_reason": "Leaks."})
    page = in_words(read_page(client, at("bank", world.bank.pk)))
    assert "2 bottles in service, 1 shut off" in page
    assert "Shut off since 1 Mar 2026" in page
    assert "Leaks." in page


def test_a_shell_test_is_due_in_words(world):
    world.with_bank()
    today = timezone.now().astimezone(world.rig.zone).date()
    for bottle, due in zip(world.bottles, (today + timedelta(days=9), today - timedelta(days=2), None), strict=True):
        actions.amend_bottle(bottle, shell_test_due_on=due, by=a.System.DEMO, at=a.DAY)
    page = in_words(read_page(signed_in(world.auditor), at("bank", world.bank.pk)))
    assert "9 days left" in page
    assert "Expired 2 days ago" in page
    assert "No shell test due on file" in page


# A round of readings


def test_a_round_is_entered_on_one_page_and_compared(world):
    world.with_bank(reference_temperature="40 degF", design_precharge="940 psi")
    client = signed_in(world.tester)
    answer = client.post(at("precharge-new", world.bank.pk), round_typed(world, "1000", "", "800"))
    assert answer.url == f"{at('bank', world.bank.pk)}#bottles"
    check = PrechargeCheck.objects.get()
    assert (check.taken_by, check.recorded_by) == ("Ben Marsh", "Ben Marsh")
    assert check.taken_at.isoformat() == "2026-03-02T12:00:00+00:00"
    assert [str(reading.pressure) for reading in check.readings.order_by("pk")] == ["1,000 psi", "800 psi"]
    page = in_words(read_page(client, at("bank", world.bank.pk)))
    assert "933.0 ideal 942.5 −7.0 Within ±100 psi" in page
    assert "Low by more than 100 psi" in page
    assert "Never read" in page
    assert "not worked out: a bottle in service was never read" in page


def test_a_gauge_is_offered_with_its_range_and_its_calibration(world):
    world.with_bank()
    today = timezone.now().astimezone(world.rig.zone).date()
    a.an_instrument(world.rig, "gauge", serial="LATE-1", calibration_due_on=today - timedelta(days=3))
    page = read_page(signed_in(world.tester), at("precharge-new", world.bank.pk))
    assert "Pressure gauge LATE-1, to 15,000 psi; calibration: expired 3 days ago" in page


def test_a_row_s_own_temperature_stands_before_the_common_one(world):
    world.with_bank()
    own = {f"gas_temperature-{world.bottles[1].pk}": "21.5"}
    typed = round_typed(world, "1000", "1000", temperature_unit="degC", common_temperature="20", **own)
    signed_in(world.tester).post(at("precharge-new", world.bank.pk), typed)
    found = PrechargeReading.objects.order_by("bottle__position_number")
    assert [str(reading.gas_temperature) for reading in found] == ["20 degC", "21.5 degC"]


def test_every_wrong_figure_stands_beside_its_own_input_and_nothing_typed_is_lost(world):
    world.with_bank()
    one, two, three = world.bottles
    typed = round_typed(world, "1,0000", "5000", "", **{f"gas_temperature-{three.pk}": "68", "remarks": "Windy."})
    answer = signed_in(world.tester).post(at("precharge-new", world.bank.pk), typed)
    page = unescape(answer.content.decode())
    assert answer.status_code == 422
    assert not PrechargeCheck.objects.exists()
    for value in ("1,0000", "5000", "68", "Windy.", "Ben Marsh", "2026-03-02T06:00"):
        assert value in page
    assert beside(page, one.pk) == ["pressure"]
    typed[f"pressure-{one.pk}"] = "1000"
    page = unescape(signed_in(world.tester).post(at("precharge-new", world.bank.pk), typed).content.decode())
    assert (beside(page, two.pk), beside(page, three.pk)) == (["pressure"], ["pressure"])
    assert "shows no more than 3,000 psi" in page
    assert "The pressure is missing" in page


def beside(page: str, bottle: int) -> list[str]:
    """The inputs of a bottle that are marked as wrong."""
    inputs = re.findall(r"<input[^>]+>", page)
    wrong = [one for one in inputs if f'-{bottle}"' in one and 'aria-invalid="true"' in one]
    return [re.search(r'name="(\w+)-', one).group(1) for one in wrong]


@pytest.mark.parametrize(
    ("changes", "part"),
    [
        ({"fluid_bled_off": ""}, "Bleed it off, then read"),
        ({"instrument": ""}, "Choose the gauge that was read"),
        ({"taken_at": "2999-01-01T00:00"}, "lies in the future"),
        ({"common_temperature": "warm"}, "is not a number"),
        ({"common_temperature": ""}, "The temperature of the gas is missing"),
        ({"common_temperature": "700"}, "No bottle's gas is this cold or hot"),
        ({"pressure_unit": "cubit"}, "not one of the available choices"),
    ],
)
def test_a_round_that_can_not_stand_is_refused_beside_the_field(world, changes, part):
    world.with_bank()
    typed = round_typed(world, "1001", **changes)
    answer = signed_in(world.tester).post(at("precharge-new", world.bank.pk), typed)
    assert answer.status_code == 422
    assert part in unescape(answer.content.decode())
    assert "1001" in answer.content.decode()
    assert not PrechargeCheck.objects.exists()


def test_an_empty_round_is_refused(world):
    world.with_bank()
    answer = signed_in(world.tester).post(at("precharge-new", world.bank.pk), round_typed(world))
    assert answer.status_code == 422
    assert "No bottle was read" in answer.content.decode()


def test_a_reading_is_corrected_and_both_stay_in_sight(world):
    world.with_bank()
    a.a_precharge_check(world.bank, ("1999 psi",))
    reading = PrechargeReading.objects.get()
    client = signed_in(world.tester)
    address = at("precharge-correct", reading.pk)
    typed = {
        "pressure_number": "999",
        "pressure_unit": "psi",
        "gas_temperature_number": "70",
        "gas_temperature_unit": "degF",
        "reason": "A digit too many.",
    }
    assert client.post(address, {**typed, "reason": ""}).status_code == 422
    assert client.post(address, typed).status_code == 302
    page = in_words(read_page(client, at("bank-readings", world.bank.pk)))
    assert "In place of 1,999 psi at 70.0 °F: A digit too many. (Ben Marsh)" in page
    assert "Corrected later" in page
    again = client.post(address, {**typed, "pressure_number": "998"})
    assert again.status_code == 422
    assert "corrected already" in again.content.decode()


# What the page tells


def test_the_verdict_of_the_ideal_gas_is_told_where_it_differs(world):
    world.with_bank(reference_temperature="40 degF", design_precharge="1038 psi")
    a.a_precharge_check(world.bank, instrument=world.gauge)
    page = in_words(read_page(signed_in(world.auditor), at("bank", world.bank.pk)))
    assert "Low by more than 100 psi The ideal gas would say: within ±100 psi." in page
    assert "Nearer to the edge of the band than the gauge's accuracy." in page


def test_a_verdict_keeps_the_capitals_of_its_unit(world):
    rig = a.a_rig(display_units="si")
    bank = a.a_bank(rig=rig, bottles=1, reference_temperature="40 degF", design_precharge="1038 psi")
    a.a_precharge_check(bank)
    page = in_words(read_page(signed_in(a.a_person(rig=rig)), at("bank-readings", bank.pk)))
    assert "The ideal gas would say: within ±689 kPa." in page


def test_a_subsea_bank_tells_the_column_its_precharge_stands_over(world):
    world.with_bank(
        location="subsea",
        depth="5000 ft",
        control_fluid_gradient="0.445 psi/ft",
        precharge_basis="above-hydrostatic",
        design_precharge="1200 psi",
        charged_pressure="5000 psi",
        reference_temperature="40 degF",
    )
    page = in_words(read_page(signed_in(world.auditor), at("bank", world.bank.pk)))
    assert "3,425 psi at the reference temperature: design and a column of 2,225 psi" in page
    assert "of control fluid for want of a seawater gradient" in page
    assert "filled to the figure on a warm deck" in page


def test_an_auditor_is_offered_no_change(world):
    world.with_bank()
    a.a_precharge_check(world.bank)
    auditor = signed_in(world.auditor)
    page = read_page(auditor, at("bank", world.bank.pk)) + read_page(auditor, at("bank-readings", world.bank.pk))
    assert "Every reading" in page
    for name, pk in (
        ("precharge-new", world.bank.pk),
        ("bank-edit", world.bank.pk),
        ("bottle-new", world.bank.pk),
        ("precharge-correct", PrechargeReading.objects.first().pk),
    ):
        assert at(name, pk) not in page


def test_the_readings_are_exported_with_every_figure(world):
    world.with_bank(reference_temperature="40 degF", design_precharge="940 psi")
    a.a_precharge_check(world.bank, gas_temperature="70 degF")
    address = at("bank-readings", world.bank.pk)
    text = signed_in(world.auditor).get(f"{address}?export=csv").content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == 3
    first = rows[0]
    assert first["Read at"] == "2026-03-02T06:00-06:00"
    assert float(first["As read, psi"]) == 1000
    assert float(first["Compensated, psi"]) == pytest.approx(933.0, abs=0.05)
    assert float(first["By ideal gas, psi"]) == pytest.approx(942.5, abs=0.05)
    assert first["Verdict"] == "Within ±100 psi"
    assert (first["Position"], first["Bottle"]) == ("1", world.bottles[0].serial)
    assert "The ideal gas would say" not in first["Note"]
    sheet = signed_in(world.auditor).get(f"{address}?export=xlsx")
    assert sheet.content[:2] == b"PK"


def test_the_rounds_are_told_with_who_read_and_what_was_remarked(world):
    world.with_bank()
    a.a_precharge_check(world.bank, ("1000 psi", "1001 psi"), instrument=world.gauge, remarks="Windy.")
    page = in_words(read_page(signed_in(world.auditor), at("bank", world.bank.pk)))
    assert f"2 bottles read by Ben Marsh with {world.gauge}; fluid bled off. Entered by" in page
    assert "Windy." in page


@pytest.mark.parametrize("name", ["bank", "bank-readings"])
def test_a_page_of_the_bank_asks_as_often_for_three_bottles_as_for_ten(world, name, django_assert_max_num_queries):
    world.with_bank()
    client, counts = signed_in(world.supervisor), []
    a.a_precharge_check(world.bank, instrument=world.gauge, taken_at=a.DAY - timedelta(days=9))
    for more in (0, 7):
        for _ in range(more):
            a.a_bottle(world.bank)
        a.a_precharge_check(
            world.bank, instrument=world.gauge, gas_temperature="60 degF", taken_at=a.DAY - timedelta(days=more)
        )
        with django_assert_max_num_queries(40) as captured:
            assert client.get(at(name, world.bank.pk)).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]
