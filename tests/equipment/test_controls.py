"""The register of control items: stations, panels, pods and emergency systems of a stack."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from equipment.actions import controls
from equipment.errors import Refused
from equipment.models import ControlItem
from equipment.queries.controls import controls_of, stations_among
from tests import builders
from tests.builders import DAY, LONG_AGO
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db


def an_item(stack, **facts) -> ControlItem:
    given = {"kind": "control-station", "name": "Drill floor station", "place": "drill-floor", **facts}
    person = builders.a_person(rig=stack.rig)
    return controls.add_control_item(stack, **{"in_service_from": LONG_AGO, "by": person, "at": DAY, **given})


def test_a_station_is_put_on_file_with_its_trail():
    item = an_item(builders.a_stack(builders.a_rig()))
    entry = TrailEntry.objects.get(event="control.added")
    assert (entry.subject_id, entry.after["name"]) == (item.pk, "Drill floor station")


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"place": ""}, "place"),
        ({"kind": "deadman", "place": "drill-floor"}, "place"),
        ({"kind": "pod", "place": "blue"}, "kind"),
        ({"in_service_from": DAY + timedelta(hours=1)}, "in_service_from"),
        ({"kind": "pod", "place": "remote"}, "place"),
    ],
    ids=["a station without its place", "a deadman in a place", "a pod at surface", "tomorrow", "a pod on the floor"],
)
def test_what_cannot_be_is_refused_beside_its_field(facts: dict, field: str):
    with pytest.raises(Refused) as refused:
        an_item(builders.a_stack(builders.a_rig()), **facts)
    assert refused.value.field == field


def test_one_place_holds_one_station_in_service_at_a_time():
    stack = builders.a_stack(builders.a_rig())
    first = an_item(stack)
    with pytest.raises(Refused) as refused:
        an_item(stack, name="Another")
    assert refused.value.field == "place"
    by = builders.a_person(rig=stack.rig)
    controls.retire_control_item(first, retired_at=DAY, reason="Replaced by a new panel.", by=by, at=DAY)
    an_item(stack, name="Another")
    assert [item.name for item in stations_among(controls_of(stack, at=DAY))] == ["Another"]
    assert [item.name for item in controls_of(stack, at=DAY - timedelta(days=1))] == ["Drill floor station", "Another"]


def test_an_amendment_says_why_and_changes_something():
    item = an_item(builders.a_stack(builders.a_rig()))
    by = builders.a_person(rig=item.stack.rig)
    for facts, field in (({"name": "Driller's", "reason": " "}, "reason"), ({"name": item.name, "reason": "x"}, "")):
        with pytest.raises(Refused) as refused:
            controls.amend_control_item(item, **facts, by=by, at=DAY)
        assert refused.value.field == field
    controls.amend_control_item(item, name="Driller's station", reason="As its plate has it.", by=by, at=DAY)
    entry = TrailEntry.objects.get(event="control.amended")
    assert (entry.before, entry.after, entry.reason) == (
        {"name": "Drill floor station"},
        {"name": "Driller's station"},
        "As its plate has it.",
    )


def test_it_goes_out_of_service_once_and_not_before_it_came():
    item = an_item(builders.a_stack(builders.a_rig()))
    by = builders.a_person(rig=item.stack.rig)
    with pytest.raises(Refused) as refused:
        controls.retire_control_item(item, retired_at=LONG_AGO, reason="Gone.", by=by, at=DAY)
    assert refused.value.field == "retired_at"
    controls.retire_control_item(item, retired_at=DAY, reason="Gone.", by=by, at=DAY)
    with pytest.raises(Refused, match="already"):
        controls.retire_control_item(item, retired_at=DAY, reason="Gone.", by=by, at=DAY)


def test_the_pages_list_filter_export_and_amend():
    rig = builders.a_rig()
    item = an_item(builders.a_stack(rig))
    client = Client()
    client.force_login(builders.a_person(rig=rig))
    stack = client.get(reverse("equipment:stack", args=[item.stack_id]))
    assert reverse("equipment:control", args=[item.pk]) in stack.content.decode()
    listed = reverse("equipment:controls", args=[rig.pk])
    assert "Drill floor station" in client.get(listed).content.decode()
    assert "Drill floor station" not in client.get(listed, {"kind": "pod"}).content.decode()
    assert b"Drill floor station" in client.get(listed, {"export": "csv"}).content
    refused = client.post(reverse("equipment:control-edit", args=[item.pk]), {"name": "X", "kind": item.kind})
    assert refused.status_code == 422
    assert 'value="X"' in refused.content.decode()


def test_a_tester_looks_and_does_not_change():
    rig = builders.a_rig()
    item = an_item(builders.a_stack(rig))
    client = Client()
    client.force_login(builders.a_person(rig=rig, role="tester"))
    assert client.get(reverse("equipment:control", args=[item.pk])).status_code == 200
    assert client.post(reverse("equipment:control-retire", args=[item.pk])).status_code == 403
    stranger = Client()
    stranger.force_login(builders.a_person(rig=builders.a_rig()))
    assert stranger.get(reverse("equipment:control", args=[item.pk])).status_code == 404
