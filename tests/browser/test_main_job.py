"""The job the product is for: from the due list to a signed certificate and the deadline moved, in a real browser."""

import io
import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

import pypdf
import pypdfium2
import pytest
import zxingcpp
from playwright.sync_api import Page, expect

from tests.browser import working
from tests.browser.conftest import password_of, sign_in
from tests.conftest import DESK

SignedIn = Callable[..., AbstractContextManager[Page]]
MANIFOLD: Final = ("Choke line", "Manifold valve 1", "Manifold valve 2")
_HASH: Final = re.compile(r"[0-9a-f]{64}")


@pytest.fixture
def allowed_console_errors() -> list[str]:
    """A wrong password answers 422, which the browser writes down."""
    return ["status of 422"]


def deadline_in(days: int, *, ago: timedelta) -> str:
    """Return the deadline as the due list words it: the end of the last day on the rig's clock."""
    last = (datetime.now(working.JACK_UP_ZONE) - ago + timedelta(days=days)).date()
    return f"midnight at the end of {last.day} {last:%b} {last.year}, UTC"


def test_a_supervisor_takes_due_elements_to_a_signed_certificate_and_their_deadline_moves(
    signed_in: SignedIn, tmp_path: Path
) -> None:
    with signed_in(DESK) as page:
        prove_the_manifold(page, tmp_path, MANIFOLD)


@pytest.mark.broker
def test_the_same_job_is_done_over_redis(signed_in: SignedIn, tmp_path: Path) -> None:
    with signed_in(DESK) as page:
        prove_the_manifold(page, tmp_path, MANIFOLD)


def prove_the_manifold(page: Page, folder: Path, elements: tuple[str, ...]) -> None:
    working.go_to_rig(page)
    ago = timedelta(minutes=5)
    for element in elements:
        row = working.due_row(page, element)
        expect(row).to_contain_text(re.compile("Due in"))
        expect(row).to_contain_text(deadline_in(14 - 12, ago=timedelta()))
    working.open_test(page)
    step = working.add_step(page, elements, pump_point="Choke line")
    target, hold = working.limits_of(step)
    assert (target, hold) == (10_000.0, 180)
    working.attach(step, working.recording_of(folder, [step], seed=101))
    verdict = step.locator(".verdict")
    expect(verdict).to_contain_text("Passed")
    expect(verdict).to_contain_text("Judged on every sample of recording-101.csv")
    expect(step.locator("[data-plot][data-drawn=yes] canvas").first).to_be_visible(timeout=working.DRAWN_WITHIN_MS)
    line = step.locator(".line").filter(has_text=elements[0])
    line.locator("summary").first.click()
    line.get_by_label("Remarks").fill("Greased before the test.")
    line.get_by_role("button", name="Save what was seen").click()
    expect(page.locator(".line").filter(has_text="Greased before the test.")).to_have_count(1)
    working.conclude(page, ago=ago)
    sign_after_a_wrong_password(page)
    sha256 = seal_shown(page)
    expect(page.get_by_role("table").first).to_contain_text(deadline_in(14, ago=ago))
    certificate = working.pdf_of(page)
    check_the_paper(page, certificate, sha256, elements)
    working.go_to_rig(page)
    for element in elements:
        row = working.due_row(page, element)
        expect(row).to_contain_text("In date")
        expect(row).to_contain_text(deadline_in(14, ago=ago))


def sign_after_a_wrong_password(page: Page) -> None:
    """Sign with a wrong password first: nothing is signed and nothing typed is lost but the password."""
    page.get_by_role("link", name="Read through and sign").click()
    page.locator("[data-plot]").first.scroll_into_view_if_needed()
    plot = page.locator("[data-plot][data-drawn=yes] canvas").first
    expect(plot).to_be_visible(timeout=working.DRAWN_WITHIN_MS)
    working.fill_signature(page, "not my password")
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.locator(".has-error")).to_contain_text("This is not your password")
    expect(page.get_by_label("You sign as")).to_have_value("contractor")
    expect(page.get_by_label("Your password, once more")).to_have_value("")
    working.fill_signature(page, password_of("supervisor"))
    page.get_by_role("button", name="Sign", exact=True).click()
    working.others_sign(page)


def seal_shown(page: Page) -> str:
    """Return the seal as the signed test's page shows it."""
    found = _HASH.search(page.locator("dl", has_text="SHA-256 of the content").inner_text())
    assert found is not None
    return found[0]


def check_the_paper(page: Page, content: bytes, sha256: str, elements: tuple[str, ...]) -> None:
    """Hold the certificate against the page: number, hash, elements; its QR code leads to the page that confirms it."""
    paper = pypdf.PdfReader(io.BytesIO(content))
    text = "\n".join(sheet.extract_text() for sheet in paper.pages)
    number = page.get_by_role("heading", level=1).inner_text().removeprefix("Pressure test ")
    assert re.search(rf"\bPressure test(?: record)? {number}\b|PT-0*{number}\b", text), text
    assert sha256 in re.sub(r"\s", "", text)
    assert "NOT PASSED" not in text
    for element in elements:
        assert element in text
    address = qr_address(content)
    assert address == f"{page.url.split('/records/')[0]}/verify/{sha256}/"
    page.context.clear_cookies()
    page.goto(address)
    expect(page.get_by_role("heading", name="The seal holds", exact=True)).to_be_visible()
    expect(page.get_by_role("main")).to_contain_text(sha256)
    sign_in(page, "supervisor")


def qr_address(content: bytes) -> str:
    """Read the QR code off the drawn pages, as a telephone would."""
    for sheet in pypdfium2.PdfDocument(content):
        for code in zxingcpp.read_barcodes(sheet.render(scale=3).to_pil()):
            return str(code.text)
    raise AssertionError("no QR code can be read on the paper")
