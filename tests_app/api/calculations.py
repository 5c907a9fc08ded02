"""The calculations over HTTP. They hold no records, so anybody may ask; how often is limited."""

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import ScopedRateThrottle
from rest_framework.views import APIView

from calcs import surface, wire
from calcs.errors import InputError
from equipment.api.documents import AsciiRenderer, DocumentParser
from tests_app import rulebook


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


_DOCUMENT = OpenApiTypes.OBJECT
_REFUSALS = dict.fromkeys((400, 404, 406, 413, 415, 429), _DOCUMENT)


class Calculations(CalculationView):
    """The list of calculations."""

    @extend_schema(operation_id="list_calculations", summary="List the calculations", responses={200: _DOCUMENT})
    def get(self, request: Request) -> Response:
        """List every calculation with one line on what it answers."""
        found = surface.CALCULATIONS.values()
        return Response({"calculations": [{"name": one.name, "summary": one.summary} for one in found]})


class CalculationByName(CalculationView):
    """One calculation."""

    @extend_schema(
        operation_id="show_a_calculation", summary="Show a calculation", responses={200: _DOCUMENT, **_REFUSALS}
    )
    def get(self, request: Request, name: str) -> Response:
        """Say what the calculation answers."""
        if name not in surface.CALCULATIONS:
            return _unknown(name)
        return Response({"name": name, "summary": surface.CALCULATIONS[name].summary})

    @extend_schema(
        operation_id="calculate",
        summary="Calculate",
        description="A document of named values goes in, the answer with its working comes out.",
        request=_DOCUMENT,
        responses={200: _DOCUMENT, **_REFUSALS},
    )
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
