"""Documents as they come in and go out: strict JSON, and no more of a body than the server takes."""

from typing import Any

from django.conf import settings
from rest_framework import status
from rest_framework.exceptions import APIException
from rest_framework.parsers import BaseParser
from rest_framework.renderers import JSONRenderer

from calcs import wire
from calcs.errors import InputError
from equipment.api.problems import Unreadable


class DocumentTooLarge(APIException):
    """The document is larger than the server reads."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE

    def __init__(self, limit: int) -> None:
        super().__init__(f"The document is larger than {limit / 1e6:g} MB. Send less at a time.")


class DocumentParser(BaseParser):
    """Reads a strict JSON document, and no more of the body than the server allows."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> dict[str, Any]:
        """Return the document; raises InputError or DocumentTooLarge."""
        limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        body = stream.read(limit + 1)
        if len(body) > limit:
            raise DocumentTooLarge(limit)
        return wire.read_document(body)


class StrictDocumentParser(DocumentParser):
    """The same, with a body that is no document refused as one that can't be read."""

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> dict[str, Any]:
        """Return the document; raises Unreadable or DocumentTooLarge."""
        try:
            return super().parse(stream, media_type, parser_context)
        except InputError as error:
            raise Unreadable(error.field, str(error), error.remedy) from error


class AsciiRenderer(JSONRenderer):
    """Writes every character past ASCII as an escape, so that a stray half character can't break an answer."""

    ensure_ascii = True
