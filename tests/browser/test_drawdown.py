"""A drawdown from the page of the bank to its sealed record, as a tester at the pump makes it, in a real browser."""

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta

from playwright.sync_api import Page, expect

from tests.browser import working
from tests.conftest import DESK

SignedIn = Callable[..., AbstractContextManager[Page]]
GAUGE = "PG-1188"


def test_a_bank_is_drawn_down_from_its_page_to_a_sealed_report(signed_in: SignedIn) -> None:
    with signed_in(DESK) as page:
        open_from_the_bank(page)
        page.get_by_role("button", name="Fill in from the stack").click()
        functions = page.locator(".worked")
        expect(functions.first).to_contain_text("Annular, close")
        read_every_function(page)
        working.conclude(page)
        expect(page.get_by_role("heading", name="Nothing is missing")).to_be_visible()
        working.sign(page)
        for title in ("Functions", "Bottles as tested"):
            expect(page.get_by_role("heading", name=title)).to_be_visible()


def open_from_the_bank(page: Page) -> None:
    """Read every bottle's precharge, then open a drawdown that names the round."""
    working.go_to_rig(page)
    page.get_by_role("link", name="Main accumulator bank").first.click()
    read_precharge(page)
    page.get_by_role("link", name="New drawdown test").click()
    page.get_by_label("Began").fill(working.on_the_rigs_clock(timedelta(hours=1)))
    page.get_by_label("Electric pumps isolated").check()
    page.get_by_label("Air pumps isolated").check()
    page.get_by_label("Seen isolated by").fill("Ada Frost")
    page.get_by_label("The start pressure had stood steady").check()
    page.locator("[name=start_pressure_number]").fill("3000")
    page.locator("[name=gas_temperature_number]").fill("70")
    page.locator("[name=pipe_in_hole_number]").fill("5")
    page.get_by_label("Control station").select_option(index=1)
    for box in page.get_by_role("checkbox", name=re.compile("gauge|recorder")).all():
        box.set_checked(GAUGE in (box.locator("..").inner_text()))
    page.get_by_role("button", name="Open the test").click()
    expect(page.get_by_role("heading", name="No function yet")).to_be_visible()


def read_precharge(page: Page) -> None:
    """Enter a round in which every bottle in service shows its design at 70 degF."""
    page.get_by_role("link", name="Enter precharge readings").first.click()
    page.get_by_label("Read at").fill(working.on_the_rigs_clock(timedelta(hours=2)))
    page.locator("[name=instrument]").select_option(value=gauge_offered(page))
    page.locator("[name=fluid_bled_off]").check()
    page.locator("[name=common_temperature]").fill("70")
    for field in page.get_by_label(re.compile("^Position .*pressure", re.IGNORECASE)).all():
        field.fill("1000")
    page.get_by_role("button", name="Record the readings").click()
    expect(page.get_by_text("The readings are on file")).to_be_visible()


def read_every_function(page: Page) -> None:
    """Type what cold nitrogen should show after each function, and watch it being compared and kept."""
    for number in range(1, page.locator(".worked").count() + 1):
        beside = page.locator(f"#beside-{number}")
        expected = beside.locator(".num").first.inner_text().replace(",", "")
        # A comparison is not asked for while a row is being saved: on a slow machine that would be the whole time.
        with page.expect_response(re.compile(r"/readings/$")):
            page.locator(f"[name=seconds-{number}]").fill("9")
            page.locator(f"[name=seconds-{number}]").press("Tab")
        page.locator(f"[name=pressure_at_once-{number}]").fill(str(int(expected) - 3))
        expect(beside.locator(".off").first).to_have_text("−3")
        page.locator(f"[name=pressure_at_once-{number}]").blur()
        expect(page.locator("#readings-state")).to_contain_text("Saved")
    expect(page.locator("#comparison")).to_contain_text("Passed")
    expect(page.locator("#comparison")).to_contain_text("Why the hand sum misleads")
    page.reload()
    expect(page.locator("[name=seconds-1]")).to_have_value("9")


def gauge_offered(page: Page) -> str:
    """Return the choice of the gauge in calibration."""
    option = page.locator("[name=instrument] option", has_text=GAUGE)
    return str(option.get_attribute("value"))
