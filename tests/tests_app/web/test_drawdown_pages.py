"""Drawdown and pump tests on their pages: compared while typed, nothing typed lost, what is sealed shown."""

import pytest
from django.test import Client
from django.urls import reverse

from tests.builders_drawdowns import (
    BankWorld,
    a_bank_world,
    a_drawdown_draft,
    a_pump_draft,
    a_recharge,
    a_sealed_drawdown,
    a_sealed_pump_test,
    a_whole_drawdown,
    a_whole_pump_test,
    filled,
    lawful_readings,
    read,
)
from tests_app.actions import drawdown_functions, pressure_tests
from tests_app.models import Record

pytestmark = pytest.mark.django_db


@pytest.fixture
def web(bank_world: BankWorld) -> Client:
    client = Client()
    client.force_login(bank_world.supervisor)
    return client


@pytest.fixture
def draft(bank_world: BankWorld) -> Record:
    return filled(a_drawdown_draft(bank_world), bank_world)


def page(client: Client, record: Record, name: str = "record") -> str:
    answer = client.get(reverse(f"tests_app:{name}", args=[record.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def typed(record: Record, **more: str) -> dict[str, str]:
    """Readings as the form sends them, in psi."""
    record.refresh_from_db()
    found = {"unit": "psi", "version": str(record.version)}
    for order, one in lawful_readings(record).items():
        found |= {f"seconds-{order}": one.seconds, f"pressure_at_once-{order}": one.pressure_at_once.split()[0]}
    return found | more


def test_figures_not_saved_are_compared_and_stay_unsaved(web: Client, draft: Record):
    answer = web.post(reverse("tests_app:drawdown-suppose", args=[draft.pk]), typed(draft))
    part = answer.content.decode()
    assert answer.status_code == 200
    assert "Passed" in part
    assert "Why the hand sum misleads" in part
    assert "Not saved yet" in part
    assert not draft.drawdown_functions.filter(pressure_at_once_si__isnull=False).exists()


def test_readings_are_saved_as_written_and_lead_to_the_next_function(web: Client, draft: Record):
    sent = typed(draft, **{"pressure_at_once-1": "160 bar"}) | {"next": "2"}
    answer = web.post(reverse("tests_app:drawdown-readings", args=[draft.pk]), sent)
    assert answer.status_code == 302
    assert answer["Location"].endswith("#function-2")
    assert str(draft.drawdown_functions.get(order=1).pressure_at_once) == "160 bar"


@pytest.mark.parametrize(
    ("field", "value"), [("pressure_at_once-1", "12x"), ("pressure_settled-1", "-5"), ("seconds-1", "soon")]
)
def test_a_figure_that_cannot_be_read_is_named_beside_its_field_and_the_rest_kept(
    web: Client, draft: Record, field: str, value: str
):
    address = reverse("tests_app:drawdown-readings", args=[draft.pk])
    answer = web.post(address, typed(draft, **{field: value, "pressure_at_once-2": "1777"}))
    whole = answer.content.decode()
    assert answer.status_code == 422
    assert f'value="{value}"' in whole
    assert 'value="1777"' in whole
    part = web.post(address, typed(draft, **{field: value}), headers={"HX-Request": "true"})
    assert part.status_code == 422
    assert f'id="errors-{field}"' in part.content.decode()


def test_a_stale_page_overwrites_nothing(web: Client, bank_world: BankWorld, draft: Record):
    stale = typed(draft, **{"pressure_at_once-1": "2222"})
    read(draft, bank_world)
    answer = web.post(reverse("tests_app:drawdown-readings", args=[draft.pk]), stale)
    whole = answer.content.decode()
    assert answer.status_code == 409
    assert "Somebody changed this test while you were writing" in whole
    assert 'value="2222"' in whole
    assert draft.drawdown_functions.get(order=1).pressure_at_once.text != "2222"


def test_a_test_is_opened_from_the_bank_and_its_functions_filled_in(web: Client, bank_world: BankWorld):
    new = reverse("tests_app:drawdown-new", args=[bank_world.rig.pk])
    assert (
        f"{new}?bank={bank_world.bank.pk}"
        in web.get(reverse("equipment:bank", args=[bank_world.bank.pk])).content.decode()
    )
    sent = {
        "bank": bank_world.bank.pk,
        "reason": "interval",
        "started_at": "2020-01-01T00:00",
        "judged_state": "at-once",
    }
    refused = web.post(new, sent)
    assert refused.status_code == 422
    assert not Record.objects.exists()


@pytest.mark.parametrize("kind", ["drawdown", "pump"])
def test_the_page_to_sign_and_the_sealed_page_show_all_that_is_sealed(web: Client, kind: str):
    world = a_bank_world()
    web.force_login(world.supervisor)
    draft = a_whole_drawdown(world) if kind == "drawdown" else a_whole_pump_test(world)
    to_sign = page(web, draft, "record-sign")
    assert "Bottles as tested" in to_sign
    assert '<button class="button">Sign</button>' in to_sign  # the first of three: it freezes, the last one seals
    other = a_bank_world()
    web.force_login(other.supervisor)
    sealed = a_sealed_drawdown(other) if kind == "drawdown" else a_sealed_pump_test(other)
    shown = page(web, sealed)
    assert "Bottles as tested" in shown
    assert sealed.sha256 in shown


def test_chargings_and_pumps_are_refused_beside_their_fields(web: Client, bank_world: BankWorld):
    draft = a_pump_draft(bank_world)
    charging = {
        "recharge-0-pumps": "one-out",
        "recharge-0-from_pressure_number": "1000",
        "recharge-0-from_pressure_unit": "psi",
        "recharge-0-to_pressure_number": "3000",
        "recharge-0-to_pressure_unit": "psi",
        "recharge-0-seconds": "14:30",
    }
    address = reverse("tests_app:recharge-new", args=[draft.pk])
    refused = web.post(address, charging)
    assert refused.status_code == 422
    assert "Say which pump or power was set out" in refused.content.decode()
    assert web.post(address, charging | {"recharge-0-pump_out": "Triplex 1"}).status_code == 302
    assert draft.recharges.get().seconds == 870.0
    unnamed = web.post(reverse("tests_app:pump-new", args=[draft.pk]), {"pump-0-duty": "primary"})
    assert unnamed.status_code == 422


def test_every_function_and_its_page_can_be_changed(web: Client, draft: Record):
    function = draft.drawdown_functions.get(order=1)
    assert web.get(reverse("tests_app:function", args=[function.pk])).status_code == 200
    moved = web.post(reverse("tests_app:function-move", args=[function.pk]), {"to_order": "2"})
    assert moved["Location"].endswith("#function-2")
    assert web.post(reverse("tests_app:function-move", args=[function.pk]), {"to_order": "x"}).status_code == 302
    named_by_hand = {"name": "Diverter, close", "movement": "close", "volume_from": "component"}
    refused = web.post(reverse("tests_app:function-new", args=[draft.pk]), named_by_hand)
    assert refused.status_code == 422
    assert "Enter the volume" in refused.content.decode()


def test_discarded_tests_of_a_bank_stay_on_file(web: Client, bank_world: BankWorld, draft: Record):
    a_recharge(draft, bank_world)
    pressure_tests.discard_record(draft, reason="Wrong bank", by=bank_world.supervisor, at=draft.created_at)
    assert "Wrong bank" in page(web, draft)
    late = web.post(reverse("tests_app:drawdown-readings", args=[draft.pk]), {"unit": "psi"})
    assert late.status_code == 409


def test_the_list_of_tests_tells_the_kinds_apart(web: Client, bank_world: BankWorld, draft: Record):
    a_pump_draft(bank_world)
    address = reverse("tests_app:records", args=[bank_world.rig.pk])
    assert "Pump test" in web.get(address).content.decode()
    only = web.get(address, {"kind": "drawdown"}).content.decode()
    assert only.count('href="/records/') == 1
    assert web.get(address, {"reason": "interval", "sort": "reason", "export": "csv"}).status_code == 200


def test_the_plot_draws_figures_that_stand_in_its_address(web: Client, draft: Record):
    address = reverse("tests_app:drawdown-plot", args=[draft.pk])
    assert web.get(address).json()["item"]["doc"]
    bare = web.get(address).content
    assert web.get(address, typed(draft)).content != bare


def test_a_function_of_a_signed_test_takes_no_changes(web: Client, bank_world: BankWorld):
    sealed = a_sealed_drawdown(bank_world)
    function = drawdown_functions.functions_of(sealed).first()
    assert function is not None
    facts = {"name": "Annular, close", "movement": "close", "volume_from": "entered", "volume_number": "1"}
    assert web.post(reverse("tests_app:function", args=[function.pk]), facts).status_code == 409
