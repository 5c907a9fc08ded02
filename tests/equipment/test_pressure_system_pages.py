"""The pages of a pressure system: drawn up from nothing, changed by form, refused beside the field, exported."""

import csv
import io
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import PressureSystem, Stack
from tests.builders import a_filled_stack, a_person, a_position, a_rig, a_stack
from tests.builders_pressure_systems import a_pressure_system

pytestmark = pytest.mark.django_db


def at(name: str, *keys: int) -> str:
    return reverse(f"equipment:{name}", args=keys)


def signed_in(stack: Stack, role: str = "supervisor") -> Client:
    client = Client()
    client.force_login(a_person(rig=stack.rig, role=role))
    return client


@pytest.fixture
def system() -> PressureSystem:
    return a_pressure_system(a_filled_stack(a_rig()))


def text(answer: Any) -> str:
    return str(answer.content.decode())


def test_a_supervisor_draws_the_system_up_and_sees_it_drawn() -> None:
    stack = a_filled_stack(a_rig())
    client = signed_in(stack)
    assert at("system-new", stack.pk) in text(client.get(at("system", stack.pk)))

    answer = client.post(at("system-new", stack.pk), {"pipe_strings": "none,  5 in"}, follow=True)

    assert stack.pressure_system.pipe_strings == ["none", "5 in"]
    page = text(answer)
    assert page.count('class="pressure-drawing') == 2, "for a wide and a narrow page"
    assert "No rating is known of it." in page
    assert "Stops planning" in page


def test_a_stack_without_preventers_is_refused_with_what_to_do() -> None:
    stack = a_stack(a_rig(), positions=())
    a_position(stack, "connector", name="Wellhead connector")

    answer = signed_in(stack).post(at("system-new", stack.pk), {"pipe_strings": "none"})

    assert answer.status_code == 422
    assert "Add the positions of its preventers first" in text(answer)


def test_pipe_that_is_no_size_is_refused_beside_its_field_and_kept(system: PressureSystem) -> None:
    answer = signed_in(system.stack).post(at("system-edit", system.pk), {"pipe_strings": "none, fat"})

    assert answer.status_code == 422
    assert "pipe_strings" in answer.context["form"].errors
    assert 'value="none, fat"' in text(answer)


def test_a_cavity_and_an_element_are_added_by_their_forms(system: PressureSystem) -> None:
    client = signed_in(system.stack)

    client.post(at("cavity-new", system.pk), {"name": "Booster line", "part": "riser", "is_vent": "on"})
    client.post(
        at("element-new", system.pk),
        {
            "name": "Booster valve",
            "kind": "gate-valve-hydraulic",
            "well_side": system.cavities.get(name="Below Annular").pk,
            "far_side": system.cavities.get(name="Booster line").pk,
            "rating_number": "5000",
            "rating_unit": "psi",
            "holds_from": "both",
            "closes_with": "any",
            "normally_closed": "on",
        },
    )

    added = system.elements.get(name="Booster valve")
    assert str(added.rating) == "5,000 psi"
    assert added.normally_closed
    assert added.order == 15
    assert "Element added" in text(client.get(at("system", system.stack.pk)))


def test_an_element_from_a_cavity_into_itself_is_refused_beside_its_field(system: PressureSystem) -> None:
    plug = system.elements.get(name="Test plug")
    typed = {
        "name": "Plug of the well",
        "kind": "test-plug",
        "well_side": plug.well_side_id,
        "far_side": plug.well_side_id,
        "holds_from": "far-side",
        "closes_with": "any",
    }

    answer = signed_in(system.stack).post(at("element-edit", plug.pk), typed)

    assert answer.status_code == 422
    assert "far_side" in answer.context["form"].errors
    assert 'value="Plug of the well"' in text(answer)


@pytest.mark.parametrize("name", ["element-edit", "cavity-edit"])
def test_a_form_saved_as_it_came_changes_nothing(system: PressureSystem, name: str) -> None:
    part = system.elements.get(name="Annular") if name == "element-edit" else system.cavities.get(name="Test joint")
    client = signed_in(system.stack)
    form = client.get(at(name, part.pk)).context["form"]
    before = type(part).objects.filter(pk=part.pk).values().get()
    typed = {field.html_name: field.value() for field in form if field.value() not in (None, False, [])}
    typed = {key: value for key, value in typed.items() if key != "rating"}

    assert client.post(at(name, part.pk), typed).status_code == 302
    assert type(part).objects.filter(pk=part.pk).values().get() == before


def test_a_cavity_something_stands_at_stays_and_the_page_says_why(system: PressureSystem) -> None:
    cavity = system.cavities.get(name="Kill line")

    answer = signed_in(system.stack).post(at("cavity-remove", cavity.pk), follow=True)

    assert "stands at this cavity" in text(answer)
    assert system.cavities.filter(pk=cavity.pk).exists()


def test_the_list_is_filtered_sorted_and_exported(system: PressureSystem) -> None:
    client = signed_in(system.stack, "auditor")
    address = at("system", system.stack.pk)

    exported = client.get(address, {"kind": "kill-valve", "sort": "-name", "export": "csv"})

    rows = list(csv.DictReader(io.StringIO(exported.content.decode("utf-8-sig"))))
    assert [row["Element"] for row in rows] == ["Outer kill valve", "Inner kill valve"]
    assert (rows[0]["Far side"], rows[0]["RWP, psi"], rows[0]["While drilling"]) == ("Kill line", "10000.0", "Closed")


def test_an_auditor_is_led_to_no_form(system: PressureSystem) -> None:
    page = text(signed_in(system.stack, "auditor").get(at("system", system.stack.pk)))

    assert "/elements/" not in page
    assert at("system-again", system.pk) not in page


def test_it_is_drawn_up_again_with_a_reason(system: PressureSystem) -> None:
    client = signed_in(system.stack)
    client.post(at("element-remove", system.elements.get(name="Annular").pk))

    assert client.post(at("system-again", system.pk), {"reason": " "}).status_code == 422
    client.post(at("system-again", system.pk), {"reason": "Removed by mistake."})

    assert system.elements.filter(name="Annular").exists()


def test_the_page_asks_as_often_for_many_elements_as_for_few(
    system: PressureSystem, django_assert_max_num_queries: Any
) -> None:
    client = signed_in(system.stack)
    with django_assert_max_num_queries(40) as asked:
        client.get(at("system", system.stack.pk))
    few = len(asked)
    longer = a_filled_stack(a_rig(), "subsea")
    for number in range(20):
        a_position(longer, "gate-valve-manual", name=f"Manifold valve {number}", group="manifold")
    a_pressure_system(longer)
    client = signed_in(longer)
    with django_assert_max_num_queries(few):
        client.get(at("system", longer.pk))
