"""Pressure systems for the tests, drawn up as the application does."""

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from equipment.actions import pressure_systems
from equipment.models import PressureSystem, Stack
from equipment.queries.usual_system import usual_system
from tests.builders import LONG_AGO
from trail.actors import Actor, System

STRINGS: Final = ("none", "5 in")
UNLISTED_RATING: Final = "15000 psi"
"""Of what is no position of a stack: test plug, test joint, bleed valve."""


def a_pressure_system(
    stack: Stack,
    *,
    pipe_strings: Sequence[str] = STRINGS,
    unlisted_rating: str | None = UNLISTED_RATING,
    by: Actor = System.DEMO,
    at: datetime = LONG_AGO,
) -> PressureSystem:
    """The usual pressure system of a stack; what is no position of it is rated 15,000 psi unless given."""
    plan = usual_system(stack).with_rating_of_unlisted(unlisted_rating)
    return pressure_systems.draw_up(stack, plan, pipe_strings=pipe_strings, by=by, at=at)
