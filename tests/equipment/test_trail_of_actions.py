"""Every action of equipment writes exactly one entry in the trail, in its own transaction."""

import importlib
import inspect
import pkgutil
from collections.abc import Callable
from copy import deepcopy
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection

import equipment.actions
from accounts.models import User
from equipment.actions import (
    amendments,
    banks,
    components,
    controls,
    documents,
    installations,
    instruments,
    people,
    pressure_systems,
    rigs,
    service,
    stacks,
    tokens,
    wells,
)
from equipment.actions.banks import Read
from equipment.models import AccessToken, Cavity, PressureSystem, Rig
from equipment.queries.usual_system import usual_system
from tests import builders as a
from tests.builders_pressure_systems import a_pressure_system
from tests.kept import Keep
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db
DAY = a.DAY
HOUR = timedelta(hours=1)
_PARTS = {"saving", "refusals", "events", "kept_answers"}
_SILENT = {"note_token_used"}
"""Notes that a token was used; the trail tells what was done with it."""


def public_actions() -> set[str]:
    """Every function of the actions that acts for somebody."""
    found = set()
    for module in pkgutil.iter_modules(equipment.actions.__path__):
        if module.name in _PARTS:
            continue
        loaded = importlib.import_module(f"equipment.actions.{module.name}")
        for name, function in inspect.getmembers(loaded, inspect.isfunction):
            here = inspect.unwrap(function).__module__ == loaded.__name__
            if here and not name.startswith("_") and "by" in inspect.signature(function).parameters:
                found.add(name)
    return found - _SILENT


@pytest.fixture(scope="module")
def kept_things(keep: Keep) -> dict[str, Any]:
    return keep(things_on_file)


def things_on_file() -> dict[str, Any]:
    rig = a.a_rig()
    stack = a.a_stack(rig, positions=(("Upper", "pipe-ram", "bore", ""),))
    well = a.a_well(rig)
    component = a.a_component(rig)
    bank = a.a_bank(rig=rig, bottles=2)
    return {
        "rig": rig,
        "person": a.a_person(),
        "member": a.a_crew_member(rig, a.a_person(), role="tester"),
        "well": well,
        "section": a.a_section(well),
        "stack": stack,
        "position": stack.positions.get(),
        "component": component,
        "instrument": a.an_instrument(rig),
        "rack": a.a_component(rig, "accumulator-bank"),
        "bank": bank,
        "bottle": bank.bottles.first(),
        "reading": a.a_precharge_check(bank, taken_at=DAY - HOUR).readings.first(),
        "elastomer": a.an_elastomer(component),
        "event": a.a_service_event(component),
        "document": a.a_document(component),
        "standing": a.an_installation(a.a_position(stack)),
        "station": controls.add_control_item(
            stack,
            kind="control-station",
            name="Toolpusher's",
            place="remote",
            in_service_from=DAY - HOUR,
            by=a.System.DEMO,
            at=DAY,
        ),
        "token": a_token(rig, by=a.a_person(), at=DAY - HOUR),
        "system": a_pressure_system(a.a_stack(rig)),
        "retired": components.retire_component(a.a_component(rig), reason="Worn.", by=a.System.DEMO, at=DAY),
    }


def a_token(rig: Rig, *, by: User, at: datetime) -> AccessToken:
    """A token of a person for one rig."""
    return tokens.make_token(name="Recorder", rig=rig, writes=True, expires_at=at + timedelta(days=9), by=by, at=at)[0]


def an_empty_cavity(system: PressureSystem) -> Cavity:
    """A cavity no element touches, as an older hand left it; made without an action, which would write an entry."""
    return Cavity.objects.create(system=system, name="Old")


Do = Callable[[dict[str, Any], Any], Any]
CASES: dict[str, Do] = {
    "register_rig": lambda w, c: rigs.register_rig(name="New", kind="land", time_zone="Etc/UTC", **c),
    "amend_rig": lambda w, c: rigs.amend_rig(w["rig"], name="Renamed", **c),
    "add_crew_member": lambda w, c: rigs.add_crew_member(w["rig"], person=w["person"], role="auditor", **c),
    "change_crew_role": lambda w, c: rigs.change_crew_role(w["member"], role="supervisor", **c),
    "remove_crew_member": lambda w, c: rigs.remove_crew_member(w["member"], reason="Left.", **c),
    "open_account": lambda w, c: people.open_account(
        w["rig"], username="newhand", display_name="Nora Hand", role="tester", password="a tall green crane", **c
    ),
    "register_well": lambda w, c: wells.register_well(w["rig"], name="New", **c),
    "amend_well": lambda w, c: wells.amend_well(w["well"], water_depth="300 ft", **c),
    "add_section": lambda w, c: wells.add_section(w["well"], name="New", **c),
    "amend_section": lambda w, c: wells.amend_section(w["section"], total_depth="11000 ft", **c),
    "register_stack": lambda w, c: stacks.register_stack(w["rig"], name="New", kind="surface", **c),
    "amend_stack": lambda w, c: stacks.amend_stack(w["stack"], name="Renamed", **c),
    "add_position": lambda w, c: stacks.add_position(w["stack"], name="New", kind="annular", order=1, **c),
    "amend_position": lambda w, c: stacks.amend_position(w["position"], name="Renamed", order=2, **c),
    "remove_position": lambda w, c: stacks.remove_position(w["position"], **c),
    "draw_up": lambda w, c: pressure_systems.draw_up(w["stack"], usual_system(w["stack"]), pipe_strings=["none"], **c),
    "draw_up_afresh": lambda w, c: pressure_systems.draw_up_afresh(
        w["system"], usual_system(w["system"].stack), reason="Piped anew.", **c
    ),
    "amend_pressure_system": lambda w, c: pressure_systems.amend_pressure_system(
        w["system"], pipe_strings=["none", "4 in"], **c
    ),
    "add_cavity": lambda w, c: pressure_systems.add_cavity(w["system"], name="New", **c),
    "amend_cavity": lambda w, c: pressure_systems.amend_cavity(
        w["system"].cavities.get(name="Below Blind-shear ram"), limited_by=[], **c
    ),
    "remove_cavity": lambda w, c: pressure_systems.remove_cavity(an_empty_cavity(w["system"]), **c),
    "add_element": lambda w, c: pressure_systems.add_element(
        w["system"],
        name="New",
        kind="gate-valve-manual",
        well_side=w["system"].cavities.get(name="Kill line"),
        far_side=w["system"].cavities.get(name="Test joint"),
        **c,
    ),
    "amend_element": lambda w, c: pressure_systems.amend_element(
        w["system"].elements.get(name="Test plug"), rating="5000 psi", **c
    ),
    "remove_element": lambda w, c: pressure_systems.remove_element(w["system"].elements.get(name="Test plug"), **c),
    "register_component": lambda w, c: components.register_component(w["rig"], kind="choke", serial="1", **c),
    "amend_component": lambda w, c: components.amend_component(w["component"], maker="Somebody", **c),
    "retire_component": lambda w, c: components.retire_component(w["component"], reason="Worn.", **c),
    "reinstate_component": lambda w, c: components.reinstate_component(w["retired"], reason="Repaired.", **c),
    "install_component": lambda w, c: installations.install_component(
        w["component"], w["position"], installed_at=DAY, **c
    ),
    "record_stay": lambda w, c: installations.record_stay(
        w["component"], w["position"], installed_at=DAY - HOUR, removed_at=DAY, reason="Overhaul.", **c
    ),
    "remove_component": lambda w, c: installations.remove_component(
        w["standing"], removed_at=DAY, reason="Overhaul.", **c
    ),
    "correct_installation": lambda w, c: installations.correct_installation(
        w["standing"], installed_at=DAY - HOUR, removed_at=None, reason="Mistyped.", **c
    ),
    "register_instrument": lambda w, c: instruments.register_instrument(
        w["rig"], kind="gauge", serial="1", range_high="5000 psi", **c
    ),
    "amend_instrument": lambda w, c: instruments.amend_instrument(w["instrument"], certificate_number="C-2", **c),
    "retire_instrument": lambda w, c: instruments.retire_instrument(
        w["instrument"], retired_on=date(2026, 3, 1), reason="Dropped.", **c
    ),
    "attach_document": lambda w, c: documents.attach_document(
        w["component"], kind="manual", title="Manual", content=b"x", file_name="m.pdf", **c
    ),
    "fit_elastomer": lambda w, c: service.fit_elastomer(
        w["component"], part="Bonnet seal", installed_on=date(2026, 3, 1), **c
    ),
    "remove_elastomer": lambda w, c: service.remove_elastomer(w["elastomer"], removed_on=date(2026, 3, 1), **c),
    "record_service": lambda w, c: service.record_service(
        w["component"], kind="repair", finished_at=DAY, description="Seals.", **c
    ),
    "amend_service": lambda w, c: amendments.amend_service(w["event"], kind="overhaul", reason="Mistyped.", **c),
    "amend_elastomer": lambda w, c: amendments.amend_elastomer(w["elastomer"], batch="B-9", reason="Mistyped.", **c),
    "amend_document": lambda w, c: amendments.amend_document(w["document"], number="N-9", reason="Mistyped.", **c),
    "register_bank": lambda w, c: banks.register_bank(
        w["rack"],
        purpose="pilot",
        design_precharge="1000 psi",
        reference_temperature="70 degF",
        charged_pressure="3000 psi",
        **c,
    ),
    "amend_bank": lambda w, c: banks.amend_bank(w["bank"], design_precharge="950 psi", **c),
    "add_bottle": lambda w, c: banks.add_bottle(
        w["bank"],
        position_number=9,
        serial="9",
        shell_volume="11 gal",
        gas_volume="10 gal",
        in_service_on=date(2026, 3, 1),
        **c,
    ),
    "amend_bottle": lambda w, c: banks.amend_bottle(w["bottle"], shell_tested_on=date(2026, 2, 1), **c),
    "change_bottle_state": lambda w, c: banks.change_bottle_state(
        w["bottle"], state="shut-off", state_since=date(2026, 3, 1), state_reason="Leaks.", **c
    ),
    "record_precharge_check": lambda w, c: banks.record_precharge_check(
        w["bank"],
        readings=[Read(bottle, "1000 psi", "70 degF") for bottle in w["bank"].bottles.all()],
        instrument=w["instrument"],
        taken_at=DAY,
        taken_by="Ben Marsh",
        fluid_bled_off=True,
        **c,
    ),
    "add_control_item": lambda w, c: controls.add_control_item(
        w["stack"], kind="control-station", name="Drill floor", place="drill-floor", in_service_from=DAY, **c
    ),
    "amend_control_item": lambda w, c: controls.amend_control_item(
        w["station"], name="Toolpusher's station", reason="Named in full.", **c
    ),
    "retire_control_item": lambda w, c: controls.retire_control_item(
        w["station"], retired_at=DAY, reason="Taken out.", **c
    ),
    "withdraw_document": lambda w, c: documents.withdraw_document(w["document"], reason="Another one's.", **c),
    "withdraw_service": lambda w, c: service.withdraw_service(w["event"], reason="Another one's.", **c),
    "withdraw_elastomer": lambda w, c: service.withdraw_elastomer(w["elastomer"], reason="Another one's.", **c),
    "make_token": lambda w, c: a_token(w["rig"], **c),
    "revoke_token": lambda w, c: tokens.revoke_token(w["token"], **c),
    "correct_precharge_reading": lambda w, c: banks.correct_precharge_reading(
        w["reading"], pressure="990 psi", gas_temperature="70 degF", reason="Misread.", **c
    ),
}


def test_every_public_action_has_a_case_here():
    assert public_actions() == set(CASES)


@pytest.mark.parametrize("name", CASES)
def test_an_action_writes_one_entry_in_its_actor_s_name(name: str, kept_things: dict[str, Any]):
    things = deepcopy(kept_things)
    person = a.a_person("Ada Quill")
    before = TrailEntry.objects.count()
    CASES[name](things, {"by": person, "at": DAY})
    assert TrailEntry.objects.count() == before + 1
    entry = TrailEntry.objects.order_by("-pk").first()
    assert (entry.actor, entry.actor_name, entry.at) == (person, "Ada Quill", DAY)
    assert entry.rig_number is not None
    assert entry.before or entry.after


def test_an_amendment_keeps_only_what_differs():
    component = a.a_component(a.a_rig(), maker="Old works", closing_ratio="7.11")
    components.amend_component(component, maker="New works", closing_ratio="7.110", by=a.System.DEMO, at=DAY)
    entry = TrailEntry.objects.order_by("-pk").first()
    assert (entry.before, entry.after) == ({"maker": "Old works"}, {"maker": "New works"})


def test_an_amendment_that_changes_nothing_writes_nothing():
    section = a.a_section(a.a_well(a.a_rig()), begins_at=DAY)
    before = TrailEntry.objects.count()
    chicago = DAY.astimezone(section.well.rig.zone)
    wells.amend_section(section, name=section.name, total_depth="10000 ft", begins_at=chicago, by=a.System.DEMO, at=DAY)
    assert TrailEntry.objects.count() == before


def test_a_refused_action_leaves_no_entry():
    rig = a.a_rig()
    before = TrailEntry.objects.count()
    with pytest.raises(Exception, match="time zone"):
        rigs.amend_rig(rig, time_zone="Nowhere/Land", by=a.System.DEMO, at=DAY)
    assert TrailEntry.objects.count() == before
    assert connection.needs_rollback is False
