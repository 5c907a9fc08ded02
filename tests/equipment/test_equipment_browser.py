"""The pages of equipment in a real browser: what moves without a reload, and that nothing runs off a phone."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests import builders as a

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def rig(transactional_db):
    rig = a.a_rig("Calder Bank")
    a.a_person("Ada Quill", rig=rig)
    return rig


def sign_in(page: Page, address: str) -> None:
    page.goto(f"/sign-in/?next={address}")
    page.fill("[name=username]", "ada.quill")
    page.fill("[name=password]", a.PASSWORD)
    page.click("main button")
    page.wait_for_url(re.compile(re.escape(address)))


def test_the_masp_follows_what_is_typed_and_keeps_to_the_chosen_basis(rig, page: Page):
    section = a.a_section(a.a_well(rig))
    sign_in(page, f"/sections/{section.pk}/edit/")
    expect(page.locator("#sum")).to_contain_text("5,000.0")
    page.fill("[name=total_depth_number]", "12000")
    expect(page.locator("#sum")).to_contain_text("6,000.0")
    page.fill("[name=gas_gradient_number]", "")
    expect(page.locator("#sum")).to_contain_text("The gas gradient is missing.")
    expect(page.locator("[name=masp_reason]")).to_be_hidden()
    page.check("[name=masp_basis][value=entered]")
    expect(page.locator("[name=masp_reason]")).to_be_visible()
    expect(page.locator("[name=masp_method]")).to_be_hidden()
    section.refresh_from_db()
    assert str(section.masp) == "5,000 psi"


def test_the_list_narrows_without_a_reload(rig, page: Page):
    a.a_component(rig, "annular", serial="AN-1")
    a.a_component(rig, serial="PR-1")
    sign_in(page, f"/rigs/{rig.pk}/components/")
    page.evaluate("window.stayed = true")
    page.select_option("[name=kind]", "annular")
    expect(page.locator("#list")).not_to_contain_text("PR-1")
    expect(page.locator("#list")).to_contain_text("AN-1")
    assert page.evaluate("window.stayed")
    assert "kind=annular" in page.url


def test_a_part_of_the_drawing_leads_to_its_row(rig, page: Page):
    stack = a.a_stack(rig)
    position = stack.positions.get(name="Blind-shear ram")
    sign_in(page, f"/stacks/{stack.pk}/")
    page.locator(f'.elevation-wide a[href="#position-{position.pk}"] .name').first.click()
    assert page.url.endswith(f"#position-{position.pk}")


def test_nothing_runs_off_a_phone(rig, phone: Page):
    stack = a.a_filled_stack(rig)
    component = stack.positions.first().installations.get().component
    a.a_document(component)
    an_instrument = a.an_instrument(rig)
    well = a.a_well(rig)
    section = a.a_section(well)
    sign_in(phone, "/rigs/")
    for address in (
        "/rigs/",
        f"/rigs/{rig.pk}/crew/",
        f"/rigs/{rig.pk}/components/",
        f"/components/{component.pk}/",
        f"/components/{component.pk}/edit/",
        f"/stacks/{stack.pk}/",
        f"/stacks/{stack.pk}/positions/",
        f"/wells/{well.pk}/",
        f"/sections/{section.pk}/edit/",
        f"/rigs/{rig.pk}/instruments/",
        f"/instruments/{an_instrument.pk}/",
    ):
        phone.goto(address)
        wider = phone.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wider <= 0, address
