"""A new component on its way into the stack: registered, installed in place of another, drawn, and due at once."""

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta

from playwright.sync_api import Locator, Page, expect

from tests.browser import working
from tests.conftest import DESK

SignedIn = Callable[..., AbstractContextManager[Page]]


def test_a_component_registered_and_installed_is_drawn_in_the_stack_and_due_now(signed_in: SignedIn) -> None:
    with signed_in(DESK) as page:
        working.go_to_rig(page)
        register_valve(page, "CV-4711")
        page.get_by_role("navigation").get_by_role("link", name="Stack", exact=True).click()
        position = page.locator("tr").filter(has=page.get_by_role("link", name="Kill check valve"))
        expect(position).to_contain_text("CV-0930")
        remove(page, position.get_by_role("link", name="Remove"))
        install(page, "Kill check valve", "CV-4711")
        drawing = page.locator(".elevation-wide")
        expect(drawing).to_contain_text("CV-4711")
        part = drawing.locator("a").filter(has_text="CV-4711")
        expect(part.first).to_contain_text("Never tested")
        working.go_to_rig(page)
        row = working.due_row(page, "Kill check valve")
        expect(row).to_contain_text("CV-4711")
        expect(row).to_contain_text("Never tested")


def register_valve(page: Page, serial: str) -> None:
    """Register a check valve on the rig."""
    page.get_by_role("navigation").get_by_role("link", name="Components", exact=True).click()
    page.get_by_role("link", name="New component").click()
    page.get_by_label("Kind").select_option("check-valve")
    page.get_by_label("Serial number").fill(serial)
    pressure = page.get_by_role("group", name="Rated working pressure (RWP)")
    pressure.get_by_role("textbox").fill("10,000")
    page.get_by_role("main").get_by_role("button", name=re.compile("^Register")).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(serial)


def remove(page: Page, link: Locator) -> None:
    """Take out what stands there."""
    link.click()
    page.get_by_label(re.compile("^Removed")).fill(working.on_the_rigs_clock(timedelta(hours=2)))
    page.get_by_label(re.compile("Reason")).fill("Weeps at the bonnet.")
    page.get_by_role("main").get_by_role("button", name=re.compile("^Remove")).click()
    expect(page.locator(".elevation-wide")).to_be_visible()


def install(page: Page, position: str, serial: str) -> None:
    """Install a component in an empty position, from the stack's page."""
    row = page.locator("tr").filter(has=page.get_by_role("link", name=position))
    row.get_by_role("link", name=re.compile("Install")).click()
    choice = page.get_by_label("Component").locator("option", has_text=serial)
    page.get_by_label("Component").select_option(str(choice.get_attribute("value")))
    page.get_by_label(re.compile("^Installed")).fill(working.on_the_rigs_clock(timedelta(hours=1)))
    page.get_by_role("main").get_by_role("button", name=re.compile("^Install")).click()
    expect(page.locator(".elevation-wide")).to_be_visible()
