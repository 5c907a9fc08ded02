"""Due list, board, calendar and plan in a browser: parted and narrowed without losing the way, a plan tried out."""

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime, timedelta

from playwright.sync_api import Page, expect

from tests.browser import working
from tests.conftest import DESK, PHONE

SignedIn = Callable[..., AbstractContextManager[Page]]


def test_the_due_list_is_parted_and_narrowed_and_its_address_can_be_sent(signed_in: SignedIn) -> None:
    with signed_in(DESK) as page:
        working.go_to_rig(page)
        page.get_by_role("link", name="by part of the system").click()
        expect(page.locator("tr.group-head").first).to_have_text(re.compile("^Stack bore"))
        page.locator("#id_what").select_option(label="Pressure test")
        expect(page).to_have_url(re.compile(r"what=pressure-test"))
        expect(page).to_have_url(re.compile(r"by=part"))
        expect(page.get_by_text("by part of the system", exact=True)).to_have_attribute("aria-current", "true")
        shown = page.locator("table.due tbody tr").all_inner_texts()
        page.goto(page.url)
        assert page.locator("table.due tbody tr").all_inner_texts() == shown
        page.get_by_role("link", name="Why is this due?").first.click()
        expect(page).to_have_url(re.compile("/why/"))


def test_the_fleet_board_leads_to_what_it_counts(signed_in: SignedIn) -> None:
    with signed_in(PHONE, "manager") as page:
        page.goto("/")
        count = page.locator("table.board tbody tr").first.locator('td[data-label="Overdue"] a')
        number = count.inner_text()
        count.click()
        expect(page.locator("tr.group-head")).to_have_text(re.compile(rf"^Overdue {number}$"))


def test_a_casing_run_is_tried_out_in_the_plan(signed_in: SignedIn) -> None:
    with signed_in(DESK) as page:
        working.go_to_rig(page)
        page.get_by_role("link", name="Plan ahead").click()
        page.locator("summary", has_text="Change the plan").click()
        day = (datetime.now(working.JACK_UP_ZONE) + timedelta(days=5)).date()
        page.get_by_label(re.compile("^Day")).first.fill(day.isoformat())
        page.get_by_label(re.compile("^What stops drilling then")).first.fill("casing run")
        page.get_by_role("button", name="Work the plan out").click()
        expect(page).to_have_url(re.compile(rf"0-on={day}&0-words=casing\+run"))
        expect(page.locator(".window-offered h3")).to_contain_text("day 5")
        page.get_by_role("link", name="Calendar").click()
        expect(page.locator(".day-today")).to_have_count(1)
