"""The tag of a curve that stands on the page before any script draws it."""

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.safestring import SafeString

from calcs.units import System
from tests_app.web import still_plots

register = template.Library()


@register.simple_tag
def still_plot(curve: Mapping[str, Any] | None, *holds: Mapping[str, Any] | None, units: System = "us") -> SafeString:
    """Draw a kept curve with the holds judged on it."""
    return still_plots.still_plot(curve, holds, units)
