"""Every page there is a link to: it answers, stays on the server, fits a phone; an auditor can change nothing."""

import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from http import HTTPStatus
from typing import Final
from urllib.parse import urldefrag, urlsplit

from playwright.sync_api import Page, expect

from tests.browser import working
from tests.conftest import DESK, PHONE

SignedIn = Callable[..., AbstractContextManager[Page]]
_NUMBER: Final = re.compile(r"(?<=[/-])\d+(?=/)")
_HASH: Final = re.compile(r"/[0-9a-f]{64}/")
_ADDRESSES: Final = "links => links.map(link => new URL(link.getAttribute('href'), document.baseURI).href)"
EACH_KIND_SEEN: Final = 2
_FILES: Final = re.compile(
    r"export=|\.pdf|\.ics|\.csv|\.xlsx|\.svg|/api/v1/schema/|/file/|/evidence/|/document/|/download/|/mail/"
)
NOT_PAGES: Final = ("/static/", "/admin/")
LEAST_KINDS: Final = 30
OWN_AFFAIRS: Final = ("/profile/", "/calculations/", "/calendar-feeds/")
"""What everybody may send, since it changes nothing of a rig."""
ORDERS: Final = ("/compliance/papers/",)
"""What has a paper made for who reads; it changes nothing of a rig either."""


def kind_of(address: str) -> str:
    """Return an address without its numbers: pages of one kind are made by one view."""
    path = urlsplit(address).path
    return _HASH.sub("/#/", _NUMBER.sub("0", path)) + ("?export" if "export" in urlsplit(address).query else "")


def links_of(page: Page) -> list[str]:
    """Return every address of the server linked from the page shown."""
    found = page.eval_on_selector_all(
        "a[href]", "links => links.map(link => new URL(link.getAttribute('href'), document.baseURI).href)"
    )
    own = urlsplit(page.url).netloc
    return [urldefrag(one).url for one in found if urlsplit(one).netloc == own]


def walked(page: Page, each: int = EACH_KIND_SEEN) -> Iterator[tuple[str, int]]:
    """Open pages by their links from the front page on, some of every kind; yields each with its status."""
    seen: set[str] = set()
    count: dict[str, int] = {}
    ahead = [page.url]
    while ahead:
        address = ahead.pop(0)
        kind = kind_of(address)
        if address in seen or count.get(kind, 0) >= each or urlsplit(address).path.startswith(NOT_PAGES):
            continue
        seen.add(address)
        count[kind] = count.get(kind, 0) + 1
        if _FILES.search(address):
            yield address, page.request.get(address).status
            continue
        answer = page.goto(address)
        assert answer is not None
        yield address, answer.status
        ahead += links_of(page)


def test_no_link_is_dead_and_no_page_fails_or_is_wider_than_a_phone(signed_in: SignedIn) -> None:
    wide: list[tuple[str, int]] = []
    met: list[tuple[str, int]] = []
    with signed_in(DESK) as page:
        page.goto("/")
        for address, status in walked(page):
            met.append((address, status))
            page.set_viewport_size(PHONE)  # type: ignore[arg-type]
            if over := overflow(page):
                wide.append((address, over))
            page.set_viewport_size(DESK)  # type: ignore[arg-type]
    assert [one for one in met if one[1] != HTTPStatus.OK] == []
    assert len({kind_of(address) for address, _ in met}) >= LEAST_KINDS
    assert wide == []


def overflow(page: Page) -> int:
    """Return by how many pixels the page is wider than the window."""
    width: int = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return width


def test_an_auditor_is_offered_nothing_that_writes(signed_in: SignedIn) -> None:
    with signed_in(DESK, "auditor") as page:
        working.go_to_rig(page)
        offered: dict[str, list[str]] = {}
        for address, status in walked(page, each=1):
            assert status == HTTPStatus.OK, address
            forms = page.eval_on_selector_all(
                "main form[method=post]", "forms => forms.map(form => new URL(form.action).pathname)"
            )
            writing = [one for one in forms if not one.startswith(OWN_AFFAIRS) and not one.endswith(ORDERS)]
            if writing:
                offered[address] = writing
    assert offered == {}


def test_an_auditor_reads_a_signed_test_and_cannot_open_a_new_one(
    signed_in: SignedIn, allowed_console_errors: list[str]
) -> None:
    allowed_console_errors.append("status of 40")
    with signed_in(DESK, "auditor") as page:
        working.go_to_rig(page)
        expect(page.get_by_role("link", name="New pressure test")).to_have_count(0)
        answer = page.goto(page.url + "tests/new/")
        assert answer is not None
        assert answer.status in {403, 404}
