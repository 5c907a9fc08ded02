"""Defects for the tests: opened, acted on and closed through the application's own actions."""

from datetime import timedelta
from typing import Any, Final

from calcs.units import Dimension
from equipment.models import Component, ControlItem, Measured
from tests.builders import DAY
from tests.builders_tests_app import World, a_sealed_record, leaking
from tests_app.actions import defect_steps, defects
from tests_app.actions.defect_steps import Approval, Work
from tests_app.actions.defects import Seen, ToShow
from tests_app.models import Defect, DefectAction, DefectClosing, FunctionLine, Line, Record

FOUND: Final = DAY + timedelta(hours=3)
"""When the leaking ram of `a_leaking_ram` was found to leak: its test concluded then."""
LATER: Final = DAY + timedelta(days=1)


def seen(**facts: Any) -> Seen:
    """A defect that stops operations, found by the tester."""
    facts = {
        "found_at": FOUND,
        "found_by": "Rolf Anders",
        "description": "Pressure fell steadily; weep at the bonnet.",
        "severity": "stops",
        "barrier": "bore",
        **facts,
    }
    return Seen(**facts)


def a_leaking_ram(world: World, **heading: Any) -> Line:
    """The failed line of a sealed test: the upper pipe ram leaked at its high pressure, on 5 in pipe."""
    return Line.objects.get(step__record=a_sealed_record(world, curve=leaking(), **heading))


def a_passing_line(world: World, **facts: Any) -> Line:
    """The line of a sealed test of a day later that passed on the same ram."""
    return Line.objects.get(step__record=a_sealed_record(world, **{"at": LATER, **facts}))


def a_defect(world: World, line: Line | FunctionLine | None = None, **facts: Any) -> Defect:
    """The defect of a failed line, of a leaking ram's unless given."""
    at = facts.pop("at", FOUND + timedelta(hours=2))
    return defects.open_from_line(line or a_leaking_ram(world), seen=seen(**facts), by=world.supervisor, at=at)


def psi(number: int) -> Measured:
    """A pressure."""
    return Measured.of(f"{number} psi", Dimension.PRESSURE, field="pressure")


def a_defect_by_hand(
    world: World, subject: Component | ControlItem, *, to_show: ToShow | None = None, **facts: Any
) -> Defect:
    """A defect somebody saw, to be shown cured by a pressure test from below unless given."""
    asked = to_show or ToShow("pressure", "below", psi(5_000))
    at = facts.pop("at", FOUND + timedelta(hours=2))
    return defects.open_by_hand(subject, seen=seen(**facts), to_show=asked, by=world.supervisor, at=at)


def acted(world: World, defect: Defect, **facts: Any) -> DefectAction:
    """New seals fitted an hour after the defect was found; believed cured by it."""
    at = facts.pop("at", FOUND + timedelta(hours=3))
    facts = {
        "done_at": FOUND + timedelta(hours=1),
        "done": "Bonnet opened, seals renewed.",
        "done_by": "Rolf Anders",
        "parts_fitted": "Bonnet seal, batch B-77",
        "puts_right": True,
        **facts,
    }
    return defect_steps.act_on_defect(defect, work=Work(**facts), by=world.supervisor, at=at)


def disposed(world: World, defect: Defect, **facts: Any) -> DefectClosing:
    """A defect closed since the component was taken out of use."""
    at = facts.pop("at", LATER)
    facts = {
        "disposition": "out-of-use",
        "approved_by": "Karin Voss, drilling superintendent",
        "reference": "MOC-031",
        "reason": "Ram sent ashore and scrapped.",
        **facts,
    }
    return defect_steps.close_by_disposition(defect, approval=Approval(**facts), by=world.supervisor, at=at)


def proven(world: World, defect: Defect, line: Line | FunctionLine) -> DefectClosing:
    """A defect closed by a line that passed."""
    return defect_steps.close_by_retest(defect, line, by=world.supervisor, at=LATER + timedelta(hours=6))


def a_proven_defect(world: World) -> Defect:
    """A defect of a leaking ram, put right and shown cured by the next day's test."""
    defect = a_defect(world)
    acted(world, defect)
    proven(world, defect, a_passing_line(world))
    return defect


def of_record(record: Record) -> list[Line]:
    """The lines of a pressure test in order."""
    return list(Line.objects.filter(step__record=record).order_by("step__order"))
