"""Lists on paper: A4 or Letter, lying, with the heads of columns repeated and each page numbered.

What stands on such a paper is as of one moment; nothing of it is sealed, and it says so.
"""

from collections.abc import Mapping
from typing import Any, Final

from django.template.loader import render_to_string
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher

from tests_app.documents.certificate import PAGE_SIZES, printable

PAPERS: Final = PAGE_SIZES
"""The paper usual where people read those units."""


def print_list(template: str, context: Mapping[str, Any], *, paper: str) -> bytes:
    """Return a list laid out by `template` (which extends documents/list_paper.html) as a PDF (tagged, PDF/UA-1)."""
    shown = printable({**context, "page_size": paper})
    fonts = FontConfiguration()
    inside_only = URLFetcher(allowed_protocols=["data"], allow_redirects=False, fail_on_errors=True)
    page = HTML(string=render_to_string(template, shown), url_fetcher=inside_only)
    style = CSS(string=render_to_string("documents/list_paper.css", shown), font_config=fonts, url_fetcher=inside_only)
    pdf: bytes = page.write_pdf(stylesheets=[style], font_config=fonts, pdf_variant="pdf/ua-1")
    return pdf
