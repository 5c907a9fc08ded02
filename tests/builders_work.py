"""Work done, deferrals and postponements for the tests: entered through the application's own actions."""

from datetime import timedelta
from decimal import Decimal
from typing import Any, Final

from calcs.units import Dimension
from equipment.models import Installation, Measured
from tests.builders import DAY
from tests.builders_tests_app import World
from tests_app.actions import deferrals, postponements, work
from tests_app.models import Completion, Deferral, Postponement
from tests_app.queries.owed import owed_on

REPORT: Final = work.Received("report.pdf", b"%PDF-1.7 an invented report")


def key_of(world: World, what: str, position: str) -> str:
    """The key of what the component standing in a position owes."""
    standing = Installation.objects.get(position=world.at(position), removed_at__isnull=True)
    return f"{what}/installation-{standing.pk}"


def some_work(world: World, key: str, **facts: Any) -> Completion:
    """Work that passed, finished an hour before `DAY`, with a report of its own."""
    at = facts.pop("at", DAY)
    concluded = facts.pop("concluded_at", at - timedelta(hours=1))
    facts = {
        "started_at": facts.pop("started_at", concluded - timedelta(minutes=30)),
        "passed": True,
        "done_by": "Rolf Anders, Northfield Well Services",
        "evidence": work.Received("report.pdf", f"%PDF-1.7 {key} {concluded}".encode()),
        **facts,
    }
    by = facts.pop("by", world.supervisor)
    return work.record_work(owed_on(world.rig, key), concluded_at=concluded, by=by, at=at, **facts)


def pressed(reached: str, left: str, minutes: str) -> work.Pressed:
    """A pressure held, as read."""
    return work.Pressed(
        Measured.of(reached, Dimension.PRESSURE, field="reached"),
        Measured.of(left, Dimension.PRESSURE, field="left"),
        Decimal(minutes),
    )


def a_deferral(world: World, key: str, **facts: Any) -> Deferral:
    """A deferral of two days, granted at `at` by the rig's operator."""
    at = facts.pop("at", DAY)
    facts = {
        "granted_at": at,
        "until": at + timedelta(days=2),
        "approved_by": "Karin Voss, drilling superintendent",
        "reference": "DSP-014",
        "reason": "The test plug is on its way from shore.",
        **facts,
    }
    by = facts.pop("by", world.supervisor)
    return deferrals.grant_deferral(owed_on(world.rig, key), by=by, at=at, **facts)


def a_postponement(world: World, key: str, **facts: Any) -> Postponement:
    """A test that can't be made at `at`, since the pipe is stuck across the stack."""
    at = facts.pop("at", DAY)
    facts = {
        "made_at": at,
        "reason": "stuck-pipe",
        "explanation": "Pipe stuck at 3,100 m with the drill string across the rams.",
        **facts,
    }
    by = facts.pop("by", world.supervisor)
    return postponements.postpone_test(owed_on(world.rig, key), by=by, at=at, **facts)
