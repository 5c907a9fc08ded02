"""The main job at the well, on a telephone: nothing runs off the screen and every target takes a gloved finger."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Final

from playwright.sync_api import Page, expect

from tests.browser import working
from tests.conftest import PHONE

SignedIn = Callable[..., AbstractContextManager[Page]]
LEAST_TARGET: Final = 40
# A link inside a sentence is as high as its line; so is the tick whose words beside it are the target.
_SMALL_TARGETS: Final = """least => {
    const shown = one => one.checkVisibility({checkVisibilityCSS: true}) && !one.closest('.bk-Toolbar, .plot, .skip');
    const targets = document.querySelectorAll(
        'main button, main select, main input:not([type=hidden]):not([type=checkbox]):not([type=radio]), ' +
        'main textarea, main a.button, main summary, main label:has(input[type=checkbox]), header summary, nav a'
    );
    return [...targets].filter(shown).map(one => [one, one.getBoundingClientRect()])
        .filter(([, box]) => box.width > 0 && box.height > 0 && box.height < least - 0.5)
        .map(([one, box]) => `${one.tagName} ${Math.round(box.height)} px: ${one.innerText || one.name}`);
}"""


def fits(page: Page) -> None:
    """Hold the page shown to the width of the screen and the height of a finger."""
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0, page.url
    assert page.evaluate(_SMALL_TARGETS, LEAST_TARGET) == [], page.url


def test_the_main_job_is_done_on_a_phone(signed_in: SignedIn, tmp_path: Path) -> None:
    with signed_in(PHONE) as page:
        working.go_to_rig(page)
        fits(page)
        page.locator("summary", has_text="New test").click()
        page.get_by_role("link", name="New pressure test").click()
        expect(page.get_by_role("button", name="Open the test")).to_be_visible()
        fits(page)
        page.go_back()
        working.open_test(page)
        fits(page)
        page.get_by_role("link", name="Add the first step").click()
        expect(page.get_by_role("button", name="Add the step")).to_be_visible()
        fits(page)
        page.go_back()
        step = working.add_step(page, ["Manifold valve 3", "Manifold valve 4", "Manifold valve 5"], pump_point="Choke")
        fits(page)
        working.attach(step, working.recording_of(tmp_path, [step], seed=401))
        expect(step.locator(".verdict")).to_contain_text("Passed")
        drawn = step.locator("[data-plot][data-drawn=yes] canvas").first
        expect(drawn).to_be_visible(timeout=working.DRAWN_WITHIN_MS)
        fits(page)
        working.conclude(page)
        page.get_by_role("link", name="Read through and sign").click()
        expect(page.get_by_role("button", name="Sign", exact=True)).to_be_visible()
        fits(page)
        page.go_back()
        working.sign(page)
        working.pdf_of(page)
        fits(page)
        working.go_to_rig(page)
        expect(working.due_row(page, "Manifold valve 5")).to_contain_text("In date")
