"""The look, held by numbers: contrast, weight, and nothing a strict content security policy would refuse."""

import gzip
import re
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

from accounts.models import User

CSS = Path(settings.BASE_DIR) / "static/css"
TEMPLATES = sorted((Path(settings.BASE_DIR) / "templates").rglob("*.html"))
LIGHT, DARK = (
    dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", part))
    for part in (CSS / "tokens.css").read_text().split("@media (prefers-color-scheme: dark)")
)
TONES = ["good", "soon", "now", "bad", "busy", "calm"]
TEXT_PAIRS = [
    *((text, ground) for text in ("ink", "soft", "accent", *TONES) for ground in ("paper", "sheet")),
    *((tone, f"{tone}-wash") for tone in TONES),
    *(("ink", f"{tone}-wash") for tone in TONES),
    ("on-accent", "accent"),
    ("ink", "wash"),
    ("soft", "wash"),
]


def luminance(colour: str) -> float:
    """Relative luminance as defined in the Web Content Accessibility Guidelines 2.2."""
    channels = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), TEXT_PAIRS)
def test_text_stands_out_from_its_ground(scheme: dict[str, str], text: str, ground: str) -> None:
    # 4.5 is success criterion 1.4.3 (AA) of the Web Content Accessibility Guidelines 2.2.
    assert contrast(scheme[text], scheme[ground]) >= 4.5


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_edges_of_controls_stand_out_from_paper_and_sheet(scheme: dict[str, str]) -> None:
    # 3.0 is success criterion 1.4.11 (AA) of the Web Content Accessibility Guidelines 2.2.
    assert min(contrast(scheme["rule"], scheme[ground]) for ground in ("paper", "sheet")) >= 3.0


def test_the_first_page_weighs_at_most_100_kilobytes(client: Client, db: None) -> None:
    page = client.get(reverse("sign-in")).content
    addresses = re.findall(r'(?:src|href)="/static/([^"]+\.(?:css|js|svg))"', page.decode())
    files = [Path(finders.find(address)).read_bytes() for address in dict.fromkeys(addresses)]
    assert len(files) >= 7
    assert sum(len(gzip.compress(one)) for one in [page, *files]) <= 100_000


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_no_template_carries_inline_code_or_foreign_addresses(template: Path) -> None:
    text = template.read_text()
    assert not re.search(r"<script(?![^>]*\bsrc=)[^>]*>", text.replace('type="application/json"', 'src=""'))
    assert not re.search(r"\son[a-z]+=[\"']", text)
    assert not re.search(r"(?:src|href)=[\"'](?:https?:)?//", text)


@pytest.mark.parametrize("name", ["400", "403", "403_csrf", "404", "413", "500"])
def test_error_pages_need_nothing_that_may_have_failed(name: str) -> None:
    assert "<h1>" in render_to_string(f"{name}.html")


def test_the_page_of_parts_shows_every_part(client: Client, person: User) -> None:
    client.force_login(person)
    page = client.get(reverse("style"), {"sort": "-rated", "page": "2"}).content.decode()
    assert 'aria-sort="descending"' in page
    assert 'data-label="Rated pressure, psi"' in page
    assert "6 to 10 of 15" in page
    assert "Decision support only." in page


def test_sorting_and_paging_keep_the_filters_in_the_address(client: Client, person: User) -> None:
    client.force_login(person)
    page = client.get(reverse("style"), {"shown_state": "overdue"}).content.decode()
    assert 'href="?shown_state=overdue&amp;sort=name"' in page
    assert 'href="?shown_state=overdue&amp;export=csv"' in page


def test_an_empty_list_says_what_to_do_first(client: Client, person: User) -> None:
    client.force_login(person)
    page = client.get(reverse("style"), {"empty": "1"}).content.decode()
    assert "Register the first one" in page


def test_a_refused_form_lists_each_error_with_the_way_to_its_field(client: Client, person: User) -> None:
    client.force_login(person)
    page = client.get(reverse("style"), {"refused": "1"}).content.decode()
    assert '<a href="#id_name">Serial</a>' in page
    assert 'aria-invalid="true"' in page
    assert '<a href="#id_station_0">Control station</a>' in page
    for target in re.findall(r'href="#(id_[^"]+)"', page):
        assert page.count(f' id="{target}"') == 1


@pytest.mark.parametrize("page", ["0", "999", "x", "-3"])
def test_a_page_number_that_is_not_there_is_no_failure(client: Client, person: User, page: str) -> None:
    client.force_login(person)
    assert client.get(reverse("style"), {"page": page, "sort": "nonsense"}).status_code == 200
