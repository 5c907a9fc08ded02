"""What was written down of work, elastomers and documents is amended with a reason; the old figure stays readable."""

from datetime import date, timedelta
from decimal import Decimal
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse

from equipment.actions import amendments, components, service
from equipment.errors import Refused
from equipment.models import Document, Elastomer, ServiceEvent
from tests import builders as a
from trail.actors import System
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db
DEMO = {"by": System.DEMO, "at": a.DAY}
WHY = {"reason": "Read off the wrong line."}


@pytest.fixture
def component():
    return a.a_component(a.a_rig())


def refused(act) -> Refused:
    with pytest.raises(Refused) as caught:
        act()
    return caught.value


def test_work_is_amended_with_the_old_figure_and_the_reason_in_the_trail(component):
    event = a.a_service_event(component)
    before = event.at
    amended = amendments.amend_service(event, finished_at=before - timedelta(days=2), **WHY, **DEMO)
    assert ServiceEvent.objects.get(pk=event.pk).at == before - timedelta(days=2)
    entry = TrailEntry.objects.get(event="service.amended")
    assert entry.reason == WHY["reason"]
    assert set(entry.before) == {"at"}
    assert entry.before["at"].startswith(before.date().isoformat())
    assert amended.recorded_by == event.recorded_by


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"reason": "  ", "kind": "overhaul"}, "reason"),
        ({**WHY, "finished_at": a.DAY + timedelta(days=1)}, "finished_at"),
        (WHY, ""),
    ],
)
def test_work_is_not_amended_without_reason_into_the_future_or_into_itself(component, facts, field):
    event = a.a_service_event(component)
    assert refused(lambda: amendments.amend_service(event, **facts, **DEMO)).field == field


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"installed_on": date(2030, 1, 1)}, "installed_on"),
        ({"expires_on": date(2001, 1, 1)}, "expires_on"),
        ({"removed_on": date(2026, 2, 1)}, "removed_on"),
    ],
)
def test_an_elastomer_is_amended_to_days_that_can_be(component, facts, field):
    elastomer = a.an_elastomer(component)
    assert refused(lambda: amendments.amend_elastomer(elastomer, **facts, **WHY, **DEMO)).field == field


def test_a_removal_written_down_in_error_is_taken_back(component):
    elastomer = service.remove_elastomer(a.an_elastomer(component), removed_on=date(2026, 3, 1), **DEMO)
    amendments.amend_elastomer(elastomer, removed_on=None, **WHY, **DEMO)
    assert Elastomer.objects.get(pk=elastomer.pk).removed_on is None


def test_a_document_keeps_its_file_when_it_is_amended(component):
    document = a.a_document(component, issued_on=date(2026, 1, 1))
    refusal = refused(lambda: amendments.amend_document(document, expires_on=date(2025, 1, 1), **WHY, **DEMO))
    assert refusal.field == "expires_on"
    amendments.amend_document(document, title="Right title", expires_on=date(2027, 1, 1), **WHY, **DEMO)
    kept = Document.objects.get(pk=document.pk)
    assert (kept.title, kept.sha256, kept.file_name) == ("Right title", document.sha256, document.file_name)


def test_the_page_amends_and_tells_what_stood_there(component):
    elastomer = a.an_elastomer(component, part="Packing element")
    client = Client()
    client.force_login(a.a_person(rig=component.rig))
    address = reverse("equipment:elastomer-edit", args=[elastomer.pk])
    page = client.get(address).content.decode()
    assert 'value="Packing element"' in page
    assert "Removed on" not in page
    typed = {"part": "Bonnet seal", "installed_on": str(elastomer.installed_on), "expires_on": ""}
    missing = client.post(address, typed)
    assert missing.status_code == 422
    assert "reason" in missing.context["form"].errors
    answer = client.post(address, {**typed, **WHY}, follow=True)
    page = unescape(answer.content.decode())
    assert "Packing element" in page
    assert "Bonnet seal" in page
    assert WHY["reason"] in page


@pytest.mark.parametrize("name", ["service-edit", "document-edit"])
def test_a_page_shows_what_is_on_file(component, name):
    row = a.a_service_event(component) if name == "service-edit" else a.a_document(component, number="C-17")
    client = Client()
    client.force_login(a.a_person(rig=component.rig))
    page = client.get(reverse(f"equipment:{name}", args=[row.pk])).content.decode()
    assert 'type="file"' not in page
    assert ("C-17" if name == "document-edit" else row.description) in page


def test_a_rating_of_what_stood_somewhere_changes_only_with_a_reason():
    component = a.an_installation(a.a_position(a.a_stack(a.a_rig(), positions=()))).component
    for facts in (
        {"rated_working_pressure": "1000 psi"},
        {"rated_working_pressure": None},
        {"closes_on_open_hole": True},
    ):
        error = refused(lambda facts=facts: components.amend_component(component, **facts, by=a.System.DEMO, at=a.DAY))
        assert error.field == "reason"
    components.amend_component(
        component, rated_working_pressure="5000 psi", reason="Nameplate", by=a.System.DEMO, at=a.DAY
    )
    entry = TrailEntry.objects.order_by("-pk").first()
    assert (entry.event, entry.reason) == ("component.amended", "Nameplate")


def test_a_gap_on_file_is_filled_without_a_reason():
    component = a.an_installation(a.a_position(a.a_stack(a.a_rig(), positions=()))).component
    amended = components.amend_component(component, closing_ratio=Decimal("7.1"), by=a.System.DEMO, at=a.DAY)
    assert amended.closing_ratio == Decimal("7.1")


def test_what_never_stood_anywhere_is_put_right_without_a_reason():
    component = a.a_component(a.a_rig())
    amended = components.amend_component(component, rated_working_pressure="5000 psi", by=a.System.DEMO, at=a.DAY)
    assert str(amended.rated_working_pressure) == "5,000 psi"
