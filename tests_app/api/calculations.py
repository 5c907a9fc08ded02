"""The calculations over HTTP. They hold no records, so anybody may ask; how often is limited."""

from typing import Any

from django.conf import settings
from rest_framework import status
from rest_framework.exceptions import APIException
from rest_framework.parsers import BaseParser
from rest_framework.permissions import AllowAny
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import ScopedRateThrottle
from rest_framework.views import APIView

from calcs import surface, wire
from calcs.errors import InputError
from tests_app import rulebook


class DocumentTooLarge(APIException):
    """The document is larger than the server reads."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE

    def __init__(self, limit: int) -> None:
        super().__init__(f"The document is larger than {limit / 1e6:g} MB. Send fewer samples at a time.")


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


class AsciiRenderer(JSONRenderer):
    """Writes every character past ASCII as an escape, so that a stray half character can't break an answer."""

    ensure_ascii = True


class CalculationView(APIView):
    """What both addresses share: who may ask, how often, and how a refusal reads."""

    authentication_classes = ()
    permission_classes = [AllowAny]
    parser_classes = [DocumentParser]
    renderer_classes = [AsciiRenderer]
    throttle_classes = [ScopedRateThrottle]
    throttle_scope = "calculations"

    def handle_exception(self, exc: Exception) -> Response:
        """Answer every refusal in the one shape the command uses too."""
        if isinstance(exc, InputError):
            return Response(wire.refusal(exc), status=status.HTTP_400_BAD_REQUEST)
        response = super().handle_exception(exc)
        response.data = wire.refusal(InputError("", str(getattr(exc, "detail", "Not found."))))
        return response


class Calculations(CalculationView):
    """The list of calculations."""

    def get(self, request: Request) -> Response:
        """List every calculation with one line on what it answers."""
        found = surface.CALCULATIONS.values()
        return Response({"calculations": [{"name": one.name, "summary": one.summary} for one in found]})


class CalculationByName(CalculationView):
    """One calculation."""

    def get(self, request: Request, name: str) -> Response:
        """Say what the calculation answers."""
        if name not in surface.CALCULATIONS:
            return _unknown(name)
        return Response({"name": name, "summary": surface.CALCULATIONS[name].summary})

    def post(self, request: Request, name: str) -> Response:
        """Answer a document."""
        if name not in surface.CALCULATIONS:
            return _unknown(name)
        # An empty body reaches no parser: DRF hands over an empty form instead.
        document = request.data if request.stream is not None else wire.read_document(b"")
        return Response(surface.calculate(name, document, editions=rulebook.editions()))


def _unknown(name: str) -> Response:
    known = sorted(surface.CALCULATIONS)
    error = InputError("name", f"There is no calculation {name[:60]!r}.", f"Known are: {', '.join(known)}.")
    return Response({**wire.refusal(error), "known": known}, status=status.HTTP_404_NOT_FOUND)
