"""A function test from what is due to its sealed report, as a tester with a stopwatch enters it, in a real browser."""

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta
from typing import Final

from playwright.sync_api import Locator, Page, expect

from tests.browser import working
from tests.conftest import DESK

SignedIn = Callable[..., AbstractContextManager[Page]]
WORKED: Final = ("Upper pipe ram", "Lower pipe ram")


def test_what_is_due_is_worked_timed_worked_again_and_sealed(signed_in: SignedIn) -> None:
    with signed_in(DESK) as page:
        open_from_what_is_due(page)
        first, second = (line_of(page, name) for name in WORKED)
        enter(page, first, "33.4", "8.1")
        expect(first).to_contain_text("Closing took 33.4 s; the rule allows 30 s.")
        enter(page, second, "9.2", "8.8")
        expect(second).to_contain_text("30 s allowed, 20.8 s to spare.")
        expect(page.locator("#lines-state")).to_contain_text("Saved")
        page.reload()
        line_of(page, WORKED[0]).get_by_role("button", name="Work it again").click()
        again = line_of(page, "worked again")
        enter(page, again, "8.9", "8.2")
        expect(again).to_contain_text("21.1 s to spare")
        expect(page.locator("#lines-state")).to_contain_text("Saved")
        working.conclude(page)
        expect(page.get_by_role("heading", name="Nothing is missing")).to_be_visible()
        working.sign(page)
        expect(page.get_by_role("heading", name="What was worked")).to_be_visible()
        expect(page.get_by_text("passed when worked again, line 3")).to_be_visible()


def open_from_what_is_due(page: Page) -> None:
    """Open a function test of both pipe rams on 5 in pipe, from the station proposed."""
    working.go_to_rig(page)
    page.locator("summary", has_text="New test").click()
    page.get_by_role("link", name="New function test").click()
    for box in page.locator("[name=subjects]").all():
        box.uncheck()
    for name in WORKED:
        page.get_by_role("checkbox", name=re.compile(f"^{name} ")).check()
    page.get_by_label("Began").fill(working.on_the_rigs_clock(timedelta(hours=1)))
    page.locator("[name=pipe_in_hole_number]").fill("5")
    page.get_by_role("button", name="Open the test").click()
    expect(page.get_by_role("heading", name="What was worked")).to_be_visible()


def line_of(page: Page, name: str) -> Locator:
    """Return the line that names this."""
    return page.locator("tbody.worked-line", has_text=name).first


def enter(page: Page, line: Locator, closing: str, opening: str) -> None:
    """Type both times by the keyboard and say that it worked completely; each is saved before the next."""
    saved = re.compile(r"/worked/$")
    line.locator("[name^=closing_time-]").fill(closing)
    with page.expect_response(saved):
        page.keyboard.press("Tab")
    page.keyboard.type(opening)
    with page.expect_response(saved):
        page.keyboard.press("Tab")
    with page.expect_response(saved):
        line.locator("[name^=completed-]").select_option("yes")
