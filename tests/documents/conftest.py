import io
from collections.abc import Callable

import pypdf
import pytest

from tests.documents.examples import ADDRESS, SEAL
from tests_app.documents.certificate import render
from tests_app.documents.content import Content


class Paper:
    """A rendered PDF as its reader has it."""

    def __init__(self, pdf: bytes) -> None:
        self.bytes = pdf
        self.reader = pypdf.PdfReader(io.BytesIO(pdf))
        self.pages = [" ".join(page.extract_text().split()) for page in self.reader.pages]
        self.text = " ".join(self.pages)


@pytest.fixture(scope="session")
def printed() -> Callable[[Content], Paper]:
    def of(content: Content) -> Paper:
        return Paper(render(content, sha256=SEAL, verify_address=ADDRESS))

    return of
