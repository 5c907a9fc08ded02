"""Pressure systems of the demo: the cavities of each stack and what closes between them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from equipment.actions.pressure_systems import draw_up
from equipment.models import ClosesWith, PressureSystem
from equipment.queries.planned_system import PlannedCavity, PlannedElement, PlannedSystem, usual_side
from tests_app.management.demo.site import Site
from trail.actors import System

BY: Final = System.DEMO


def draw_up_system(site: Site, given: Mapping[str, Any], at: datetime) -> PressureSystem:
    """Draw up the pressure system of the site's stack as its file describes it."""
    assert site.stack is not None  # set before anything hangs on it
    cavities = {one["name"]: _cavity(site, one) for one in given["cavities"]}
    elements = [_element(site, one, cavities) for one in given["elements"]]
    plan = PlannedSystem(list(cavities.values()), elements)
    return draw_up(site.stack, plan, pipe_strings=given["pipe_strings"], by=BY, at=at)


def _cavity(site: Site, given: Mapping[str, Any]) -> PlannedCavity:
    return PlannedCavity(
        given["name"],
        given["part"],
        is_pump_point=given.get("pump", False),
        is_vent=given.get("vent", False),
        rating=given.get("rating"),
        limited_by=[site.positions[name] for name in given.get("limited_by", ())],
    )


def _element(site: Site, given: Mapping[str, Any], cavities: Mapping[str, PlannedCavity]) -> PlannedElement:
    """Return an element; one that names no kind stands in the position of its name."""
    position = None if "kind" in given else site.positions[given["name"]]
    kind = given["kind"] if position is None else position.kind
    return PlannedElement(
        given["name"],
        kind,
        cavities[given["well_side"]],
        cavities[given["far_side"]],
        given.get("holds_from", usual_side(kind)),
        position=position,
        closes_with=given.get("closes_with", ClosesWith.ANY),
        normally_closed=given.get("normally_closed", False),
        rating=given.get("rating"),
    )
