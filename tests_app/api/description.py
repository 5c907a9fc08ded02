"""The description of the API (OpenAPI 3.1), the page that lists its calls, and what answers where no call is."""

from functools import cache
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiJsonRenderer
from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import NotFound
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from equipment.api.operations import View
from equipment.api.problems import KINDS
from equipment.queries import access

_METHODS: Final = ("get", "post", "patch", "delete")


def documents_closed(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Say of each document a call takes that it takes no other keys; called by the generator at its end."""
    for name, shape in result["components"]["schemas"].items():
        if name.endswith(("Taken", "Amended", "TakenRequest", "AmendedRequest")) and "properties" in shape:
            shape["additionalProperties"] = False
        for part in shape.get("properties", {}).values():
            part.pop("x-spec-enum-id", None)
    return result


def only_described(endpoints: list[Any], **_: Any) -> list[Any]:
    """Leave out the addresses that describe the others."""
    return [one for one in endpoints if not issubclass(one[3].cls, Description | Nowhere)]


class Description(APIView):
    """The description itself; it tells nothing of any rig, so anybody may read it."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    renderer_classes = (OpenApiJsonRenderer,)

    @extend_schema(exclude=True)
    def get(self, request: Request) -> Response:
        """Return the description of every call."""
        return Response(described(), content_type="application/vnd.oai.openapi+json")


class Nowhere(View):
    """Any other address below the API."""

    @extend_schema(exclude=True)
    def dispatch(self, request: Any, *args: Any, **keys: Any) -> Any:
        """Answer that nothing is here, whatever the method."""
        self.args, self.kwargs, self.headers = args, keys, {}
        found = self.initialize_request(request, *args, **keys)
        self.request = found
        found.accepted_renderer, found.accepted_media_type = self.perform_content_negotiation(found, force=True)
        self.response = self.finalize_response(found, self.handle_exception(NotFound("No call has this address.")))
        return self.response


@cache
def described() -> dict[str, Any]:
    """Return the description of every call as a document."""
    found: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return found


@require_safe
def show_calls(request: HttpRequest) -> HttpResponse:
    """List every call and every kind of problem on one plain page."""
    rigs = list(access.rigs_visible(request.user))
    context = {"rigs": rigs, "rig": rigs[0] if len(rigs) == 1 else None, "calls": _calls(), "problems": KINDS}
    return render(request, "tests_app/api.html", context)


def _calls() -> dict[str, list[dict[str, Any]]]:
    """Return every call by what it is about, the first part of its address."""
    found: dict[str, list[dict[str, Any]]] = {}
    for address, methods in described()["paths"].items():
        about = address.removeprefix("/api/v1/").partition("/")[0].replace("-", " ")
        for method in (one for one in _METHODS if one in methods):
            call = {"method": method.upper(), "address": address, **_told(methods[method])}
            found.setdefault(about, []).append(call)
    return found


def _told(operation: dict[str, Any]) -> dict[str, Any]:
    names = [one["name"] for one in operation.get("parameters", ()) if one["in"] == "query"]
    summary, description = operation["summary"], operation.get("description", "")
    return {"summary": summary, "description": "" if description == summary else description, "queries": names}
