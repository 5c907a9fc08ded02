"""Alerts of the demo: how each rig tells, and what the first sweep finds on the day it is loaded."""

from collections.abc import Mapping
from datetime import datetime, time
from typing import Final

from accounts.models import User
from equipment.models import Rig
from tests_app.actions.alert_choices import choose_alerts
from tests_app.actions.answering import acknowledge
from tests_app.actions.sweeping import sweep
from tests_app.models import Notice
from trail.actors import System

_NOTE: Final = "Seen. On the work list of the day tour, to be done before the next section."


def tell_from_now_on(rig: Rig, people: Mapping[str, User], *, at: datetime) -> None:
    """Choose how the rig tells, sweep it once, and have its supervisor acknowledge the most pressing alert."""
    choose_alerts(
        rig,
        people=[],
        roles=["supervisor", "tester"],
        quiet_from=time(22),
        quiet_until=time(5, 30),
        by=people["manager"],
        at=at,
    )
    sweep(rig, by=System.SCHEDULER, at=at)
    pressing = Notice.objects.filter(rig=rig, closed_at=None).order_by("-hours_past", "pk").first()
    if pressing is not None:
        acknowledge(pressing, note=_NOTE, by=people["supervisor"], at=at)
