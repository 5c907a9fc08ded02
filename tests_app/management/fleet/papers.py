"""The one file every paper of an invented fleet is: a page that says it is none."""

from dataclasses import dataclass
from typing import Final

import weasyprint

from equipment import files

_PAGE: Final = """<html><body style="font-family: sans-serif; margin: 4cm 2cm">
<h1>Not a certificate</h1><p>This stands in place of every paper of an invented fleet, made for measuring. No equipment
was tested.</p></body></html>"""


@dataclass(frozen=True)
class Paper:
    """A kept file."""

    sha256: str
    size: int


def shared_paper() -> Paper:
    """Return the file, kept once."""
    content: bytes = weasyprint.HTML(string=_PAGE).write_pdf()
    return Paper(files.keep(content), len(content))
