"""What a person does on the test pages, told once for all tests here: open, add a step, attach, conclude, sign."""

import io
import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import pypdf
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import password_of, sign_in
from tests_app.management.demo.recorder import MadeHold, as_csv, samples

JACK_UP: Final = "Saltmarsh 7"
JACK_UP_ZONE: Final = ZoneInfo("America/Chicago")
DRAWN_WITHIN_MS: Final = 60_000
MADE_WITHIN_MS: Final = 90_000
_LIMITS: Final = re.compile(r"then high at least ([\d,]+) psi, never over [\d,]+ psi, each held (\d+) min\b")


def go_to_rig(page: Page, name: str = JACK_UP) -> None:
    """Open a rig's due list from the list of rigs."""
    page.goto("/")
    page.get_by_role("main").get_by_role("link", name=name, exact=True).click()
    expect(page.get_by_role("heading", level=1, name=name)).to_be_visible()


def open_test(page: Page, *, began: timedelta = timedelta(hours=3), before: Sequence[tuple[str, str]] = ()) -> None:
    """Open a new pressure test that began some time ago on the rig's clock; the rest as it is filled in."""
    page.locator("summary", has_text="New test").click()
    page.get_by_role("link", name="New pressure test").click()
    page.get_by_label("Began").fill(on_the_rigs_clock(began))
    for label, value in before:
        page.get_by_label(label).fill(value)
    page.get_by_role("button", name="Open the test").click()
    expect(page.get_by_role("heading", name="No step yet")).to_be_visible()


def on_the_rigs_clock(ago: timedelta) -> str:
    """Return a moment of the jack-up's clock as a browser's field takes it."""
    return (datetime.now(JACK_UP_ZONE) - ago).strftime("%Y-%m-%dT%H:%M")


def add_step(page: Page, elements: Sequence[str], *, pump_point: str) -> Locator:
    """Add a step that proves the elements; returns its part of the page."""
    page.get_by_role("link", name=re.compile("^Add (a|the first) step$")).click()
    for element in elements:
        page.get_by_role("checkbox", name=re.compile(f"^{element} ")).check()
    page.get_by_label("Pump point").fill(pump_point)
    page.get_by_role("button", name="Add the step").click()
    page.wait_for_url(re.compile(r"#step-\d+$"))
    return page.locator(".step").last


def limits_of(step: Locator) -> tuple[float, int]:
    """Return the high pressure in psi and the hold in seconds that the page asks of a step."""
    asked = _LIMITS.search(step.locator(".limits").inner_text())
    assert asked is not None, step.locator(".limits").inner_text()
    return float(asked[1].replace(",", "")), int(asked[2]) * 60


def recording_of(folder: Path, steps: Sequence[Locator], *, seed: int, faults: Sequence[str] = ()) -> Path:
    """Write what the demo's recorder would have made of the steps, each with its fault or none."""
    given = [*faults, *[""] * (len(steps) - len(faults))]
    holds = [MadeHold(*limits_of(step), fault) for step, fault in zip(steps, given, strict=True)]
    path = folder / f"recording-{seed}.csv"
    path.write_text(as_csv(samples(holds, seed=seed)), encoding="utf-8")
    return path


def attach(step: Locator, file: Path) -> None:
    """Attach a recorder's file to a step by its form."""
    unfold(step, "Attach the recorder file of this step")
    step.get_by_label("Recorder file").set_input_files(file)
    step.get_by_role("button", name="Attach and judge").click()


def confirm_proposals(page: Page) -> None:
    """Confirm what the search proposed of a file of the whole test."""
    page.get_by_role("button", name="Confirm all proposals").click()
    expect(page.get_by_role("button", name="Confirm all proposals")).to_have_count(0)


def unfold(part: Locator, words: str) -> None:
    """Open a disclosure by its words, unless it stands open."""
    summary = part.locator("summary", has_text=words)
    if summary.locator("..").get_attribute("open") is None:
        summary.click()


def conclude(page: Page, *, ago: timedelta = timedelta(minutes=5)) -> None:
    """Say when the test was over."""
    page.get_by_label("Concluded").fill(on_the_rigs_clock(ago))
    page.get_by_role("button", name="The test is concluded").click()
    page.wait_for_url(re.compile("#conclude$"))


def sign(page: Page) -> None:
    """Read the test through and sign it, for the contractor; then have the others sign, the last of whom seals it."""
    page.get_by_role("link", name="Read through and sign").click()
    fill_signature(page, password_of("supervisor"))
    page.get_by_role("button", name="Sign", exact=True).click()
    others_sign(page)


def others_sign(page: Page) -> None:
    """Have the pump operator and the lessee's representative sign under their own accounts, and come back."""
    expect(page.get_by_role("main")).to_contain_text("Signed by 1 of 3")
    address = page.url.partition("#")[0]
    for user, capacity, button in (
        ("tester", "Pump operator", "Sign"),
        ("lessee", "Lessee's representative", "Sign and seal"),
    ):
        page.context.clear_cookies()
        sign_in(page, user)
        page.goto(address)
        page.get_by_role("link", name="Read through and sign").click()
        fill_signature(page, password_of(user), capacity)
        page.get_by_role("button", name=button, exact=True).click()
        expect(
            page.get_by_role("heading", name="Signatures" if button == "Sign" else "Seal", exact=True)
        ).to_be_visible()
    page.context.clear_cookies()
    sign_in(page, "supervisor")
    page.goto(address)
    expect(page.get_by_role("heading", name="Seal", exact=True)).to_be_visible()


def fill_signature(page: Page, password: str, capacity: str = "Contractor's representative") -> None:
    """Fill the form of a signature in."""
    page.get_by_label("You sign as").select_option(label=capacity)
    page.get_by_label("Your password, once more").fill(password)


def pdf_of(page: Page) -> bytes:
    """Wait for the worker to have made the paper of the signed test shown, and fetch it."""
    link = page.get_by_role("link", name="Open the PDF")
    expect(link).to_be_visible(timeout=MADE_WITHIN_MS)
    answer = page.request.get(str(link.get_attribute("href")))
    assert answer.ok
    assert answer.headers["content-type"] == "application/pdf"
    return answer.body()


def due_row(page: Page, element: str, what: str = "Pressure test") -> Locator:
    """Return the row of what is due of an element in the due list."""
    rows = page.locator("#due tbody tr").filter(has=page.get_by_role("link", name=element, exact=True))
    return rows.filter(has_text=what)


def text_of(paper: bytes) -> str:
    """Return the words of a PDF."""
    return "\n".join(sheet.extract_text() for sheet in pypdf.PdfReader(io.BytesIO(paper)).pages)
