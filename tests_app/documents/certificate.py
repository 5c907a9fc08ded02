"""The paper of a sealed record: a certificate or report of what passed, or a report of a test that did not.

Drawn by WeasyPrint from the sealed content alone. The same content gives the same bytes on the same machine:
no clock is read, and the identifier of the file is the seal. Nothing is fetched: what the page needs is in it.
"""

import base64
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import segno
from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher

from tests_app.documents.content import Content
from tests_app.documents.drawdown_content import DrawdownContent, PumpContent
from tests_app.documents.drawdown_sheet import drawdown_sheet
from tests_app.documents.function_content import FunctionContent
from tests_app.documents.function_sheet import function_sheet
from tests_app.documents.pump_sheet import pump_sheet
from tests_app.documents.sheet import HeldStep, sheet_of

Printable = Content | DrawdownContent | PumpContent | FunctionContent
PAGE_SIZES: Final = {"us": "letter", "si": "A4"}
SHORT_HASH: Final = 16
_NUMBER_DIGITS: Final = 6
_LONGEST_SHORT_NAME: Final = 24
_STEERING: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})
# Line ends and tabs are laid out; the joiners are part of how some scripts are spelled, the soft hyphen of a word.
_LAYOUT: Final = frozenset("\n\r\t\u200c\u200d\u00ad")
_VISIBLE: Final = "\ufffd"


@dataclass(frozen=True, slots=True)
class Plot:
    """A step as it was held with its plot as an address that holds the drawing itself."""

    step: HeldStep
    source: str


@dataclass(frozen=True, slots=True)
class Form:
    """How one kind of record is put on paper.

    Attributes:
        code: of its number: ``PT`` in MERIDIAN-TERN-PT-000012.
        title: of a test that passed.
        report: of one that did not: never called a certificate.
        template: that lays it out.
        context: what the template needs of the content beside the frame.
    """

    code: str
    title: str
    report: str
    template: str
    context: Callable[[Any], dict[str, Any]]


def number_of(content: Printable) -> str:
    """Return the number of the paper: the rig's short name and the record's number, ``MERIDIAN-TERN-PT-000012``."""
    plain = unicodedata.normalize("NFKD", content["rig"]["name"]).encode("ascii", "ignore").decode()
    short = _cut_at_a_word("-".join(re.findall(r"[A-Za-z0-9]+", plain)).upper())
    return f"{short or 'RIG'}-{form_of(content).code}-{content['number']:0{_NUMBER_DIGITS}d}"


def _cut_at_a_word(name: str) -> str:
    """Return as many whole words of a name as the number has room for; of a longer first word its beginning."""
    if len(name) <= _LONGEST_SHORT_NAME:
        return name
    return name[: _LONGEST_SHORT_NAME + 1].rpartition("-")[0] or name[:_LONGEST_SHORT_NAME]


def verify_address(sha256: str) -> str:
    """Return the public address at which a seal can be checked."""
    return f"{settings.PUBLIC_ADDRESS.rstrip('/')}{reverse('tests_app:verify', args=[sha256])}"


def title_of(content: Printable) -> str:
    """Return the title: a test with a line left failed is never called a certificate."""
    form = form_of(content)
    return form.title if content["passed"] else f"{form.report} — not passed"


def form_of(content: Printable) -> Form:
    """Return how content of its form is printed."""
    return _FORMS[content["form"]]


def render(content: Printable, *, sha256: str, verify_address: str, number: str = "") -> bytes:
    """Return the PDF (tagged, PDF/UA-1) of sealed content.

    Args:
        content: the sealed content.
        sha256: its seal, in hexadecimal.
        verify_address: public address at which the seal can be checked; printed, and drawn as a QR code.
        number: the number of the paper; by default that of `number_of`.
    """
    context = _context(printable(content), sha256, verify_address, number or number_of(content))
    fonts = FontConfiguration()
    # Only addresses that hold their content: no text on a record can make the page reach out.
    inside_only = URLFetcher(allowed_protocols=["data"], allow_redirects=False, fail_on_errors=True)
    page = HTML(string=render_to_string(form_of(content).template, context), url_fetcher=inside_only)
    css = render_to_string("documents/paper.css", context)
    style = CSS(string=css, font_config=fonts, url_fetcher=inside_only)
    pdf: bytes = page.write_pdf(
        stylesheets=[style],
        font_config=fonts,
        pdf_variant="pdf/ua-1",
        pdf_identifier=bytes.fromhex(sha256)[:16],
    )
    return pdf


def printable(given: Any) -> Any:
    """Return content with every character that only steers, such as one turning the reading order, made visible.

    Such a character could make a sealed remark read as something else on paper than in the record.
    """
    if isinstance(given, str):
        return "".join(
            _VISIBLE if unicodedata.category(each) in _STEERING and each not in _LAYOUT else each for each in given
        )
    if isinstance(given, Mapping):
        return {key: printable(value) for key, value in given.items()}
    if isinstance(given, list | tuple):
        return [printable(value) for value in given]
    return given


def _context(content: Printable, sha256: str, verify_address: str, number: str) -> dict[str, Any]:
    form = form_of(content)
    return {
        **form.context(content),
        "content": content,
        "title": title_of(content),
        "failed_title": form.report,
        "number": number,
        "sha256": sha256,
        "short_sha256": sha256[:SHORT_HASH],
        "verify_address": verify_address,
        "qr": qr_code(verify_address),
        "page_size": PAGE_SIZES[content["rig"]["display_units"]],
    }


def qr_code(address: str) -> str:
    """Return the QR code of an address, as an SVG inside an address."""
    code = segno.make(address, error="m", micro=False)
    return svg_address(code.svg_inline(border=2, omitsize=True, dark="#000", light="#fff"))


def svg_address(svg: str) -> str:
    """Return an address that holds the drawing itself."""
    if "xmlns=" not in svg:
        svg = svg.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
    return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"


def _pressure(content: Content) -> dict[str, Any]:
    sheet = sheet_of(content)
    return {
        "sheet": sheet,
        "plots": [Plot(step, svg_address(step.svg) if step.svg else "") for step in sheet.held],
    }


def _drawdown(content: DrawdownContent) -> dict[str, Any]:
    sheet = drawdown_sheet(content)
    return {"sheet": sheet, "plot": svg_address(sheet.svg) if sheet.svg else ""}


def _pump(content: PumpContent) -> dict[str, Any]:
    return {"sheet": pump_sheet(content)}


def _function(content: FunctionContent) -> dict[str, Any]:
    return {"sheet": function_sheet(content)}


_FORMS: Final[Mapping[str, Form]] = {
    "pressure-test/1": Form(
        "PT", "Certificate of pressure test", "Report of pressure test", "documents/certificate.html", _pressure
    ),
    "drawdown-test/1": Form(
        "DD", "Report of drawdown test", "Report of drawdown test", "documents/drawdown.html", _drawdown
    ),
    "pump-test/1": Form("PU", "Report of pump test", "Report of pump test", "documents/pump_test.html", _pump),
    "function-test/1": Form(
        "FT", "Report of function test", "Report of function test", "documents/function_test.html", _function
    ),
}
