"""What a component's page says of its tests made elsewhere."""

from typing import Final

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from equipment.models import Component
from tests_app.queries.brought import brought_tests_of_component
from tests_app.web.brought_tables import state_of

_SHOWN: Final = 10


def brought_in(request: HttpRequest, component: Component) -> SafeString | None:
    """Return the latest tests brought in of a component; nothing where there is none."""
    tests = list(brought_tests_of_component(component)[:_SHOWN])
    if not tests:
        return None
    context = {
        "tests": [(test, *state_of(test)) for test in tests],
        "rig": component.rig,
        "zone": component.rig.time_zone,
        "serial": component.serial,
    }
    return SafeString(render_to_string("tests_app/parts/brought_tests.html", context, request=request))
