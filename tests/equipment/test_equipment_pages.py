"""The pages of equipment through the client: who may open them, what they keep, what they refuse."""

import csv
import io
import re
from copy import deepcopy
from datetime import date, timedelta
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from equipment import files
from equipment.actions import controls
from equipment.models import Component, CrewMember, HoleSection, Installation, Instrument, Position, Rig, Stack, Well
from equipment.queries import rigs
from equipment.web import panels
from equipment.web.panels import StateMark
from equipment.web.urls import urlpatterns
from tests import builders as a
from tests.builders_pressure_systems import a_pressure_system
from tests.kept import Keep
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db


POSITIONS = (
    ("Annular", "annular", "bore", ""),
    ("Upper pipe ram", "pipe-ram", "bore", ""),
    ("Drilling spool", "drilling-spool", "bore", ""),
    ("Inner choke valve", "choke-valve", "choke-side", "Drilling spool"),
)


class World:
    """One rig with one of each thing, and a person in every role."""

    def __init__(self) -> None:
        self.rig = a.a_rig("Calder Bank")
        self.well = a.a_well(self.rig, "Calder 14")
        self.section = a.a_section(self.well, "12 1/4 in")
        self.stack = a.a_stack(self.rig, positions=POSITIONS)
        for position in self.stack.positions.all():
            a.an_installation(position)
        self.position = self.stack.positions.get(name="Upper pipe ram")
        self.installation = self.position.installations.get()
        self.component = self.installation.component
        self.spare = a.a_component(self.rig, serial="SPARE-1")
        self.empty = a.a_position(self.stack, name="Second pipe ram")
        self.elastomer = a.an_elastomer(self.component, expires_on=date(2026, 6, 1))
        self.document = a.a_document(self.component, b"as received")
        self.event = a.a_service_event(self.component)
        self.instrument = a.an_instrument(self.rig)
        self.rack = a.a_component(self.rig, "accumulator-bank", serial="RACK-1")
        self.bank = a.a_bank(rig=self.rig, bottles=2)
        self.bottle = self.bank.bottles.first()
        self.reading = a.a_precharge_check(self.bank).readings.first()
        self.control = controls.add_control_item(
            self.stack,
            kind="control-station",
            name="Drill floor station",
            place="drill-floor",
            in_service_from=a.LONG_AGO,
            by=a.System.DEMO,
            at=a.DAY,
        )
        self.system = a_pressure_system(self.stack)
        self.cavity = self.system.cavities.get(name="Test joint")
        self.element = self.system.elements.get(name="Test plug")
        self.member = a.a_crew_member(self.rig, a.a_person("Ben Marsh"), role="tester")
        self.supervisor = a.a_person("Ada Quill", rig=self.rig)
        self.manager = a.a_person("Cora Vane", rig=self.rig, role="rig-manager")
        self.auditor = a.a_person("Dirk Holm", rig=self.rig, role="auditor")
        self.stranger = a.a_person("Eve Strand", rig=a.a_rig("Another"), role="administrator")


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    return keep(World)


@pytest.fixture
def world(kept_world: World, db: None) -> World:
    return deepcopy(kept_world)


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def at(name: str, *args) -> str:
    return reverse(f"equipment:{name}", args=args)


READ = {
    "crew": "rig",
    "wells": "rig",
    "well": "well",
    "stacks": "rig",
    "stack": "stack",
    "position": "position",
    "components": "rig",
    "component": "component",
    "document-file": "document",
    "instruments": "rig",
    "instrument": "instrument",
    "component-bank": "rack",
    "bank": "bank",
    "bank-readings": "bank",
    "controls": "rig",
    "control": "control",
    "system": "stack",
    "system-cavities": "system",
}
RECORD = {"precharge-new": "bank", "precharge-correct": "reading"}
MANAGE = {
    "well-new": "rig",
    "well-edit": "well",
    "section-new": "well",
    "section-edit": "section",
    "stack-new": "rig",
    "stack-edit": "stack",
    "stack-arrange": "stack",
    "position-new": "stack",
    "position-edit": "position",
    "install": "empty",
    "installation-remove": "installation",
    "installation-correct": "installation",
    "component-new": "rig",
    "component-edit": "component",
    "component-retire": "component",
    "component-reinstate": "component",
    "service-new": "component",
    "elastomer-new": "component",
    "component-document-new": "component",
    "elastomer-remove": "elastomer",
    "elastomer-edit": "elastomer",
    "service-edit": "event",
    "document-edit": "document",
    "instrument-new": "rig",
    "instrument-edit": "instrument",
    "instrument-retire": "instrument",
    "instrument-document-new": "instrument",
    "bank-new": "rack",
    "bank-edit": "bank",
    "bottle-new": "bank",
    "bottle-edit": "bottle",
    "bottle-state": "bottle",
    "control-new": "stack",
    "control-edit": "control",
    "control-retire": "control",
    "system-new": "stack",
    "system-edit": "system",
    "system-again": "system",
    "cavity-new": "system",
    "cavity-edit": "cavity",
    "element-new": "system",
    "element-edit": "element",
}
ADMINISTER = {"rig-edit": "rig", "account-new": "rig", "crew-role": "member", "crew-remove": "member"}
POSTED = {
    "position-up": "position",
    "position-down": "position",
    "position-remove": "position",
    "cavity-remove": "cavity",
    "element-remove": "element",
}
EVERYWHERE = {"rigs", "rig-new", "section-sum"}


def test_every_address_is_asked_for_by_a_test_of_access():
    names = {pattern.name for pattern in urlpatterns}
    assert names == set(READ) | set(RECORD) | set(MANAGE) | set(ADMINISTER) | set(POSTED) | EVERYWHERE


@pytest.mark.parametrize("name", READ)
def test_a_page_is_for_the_crew_alone(world, name):
    address = at(name, getattr(world, READ[name]).pk)
    assert signed_in(world.auditor).get(address, follow=True).status_code == 200
    assert signed_in(world.stranger).get(address).status_code == 404
    assert Client().get(address).url.startswith("/sign-in/")


@pytest.mark.parametrize("name", MANAGE)
def test_a_form_is_for_those_who_look_after_the_equipment(world, name):
    address = at(name, getattr(world, MANAGE[name]).pk)
    assert signed_in(world.supervisor).get(address).status_code == 200
    refused = signed_in(world.member.person).get(address)
    assert refused.status_code == 403
    assert "does not allow you to change equipment" in refused.content.decode()
    assert "equipment supervisor" in refused.content.decode()
    assert signed_in(world.stranger).get(address).status_code == 404
    if name != "stack-arrange":
        assert signed_in(world.stranger).post(address).status_code == 404
        assert signed_in(world.auditor).post(address).status_code == 403


@pytest.mark.parametrize("name", RECORD)
def test_readings_are_entered_by_those_who_record(world, name):
    address = at(name, getattr(world, RECORD[name]).pk)
    assert signed_in(world.member.person).get(address).status_code == 200
    assert signed_in(world.auditor).get(address).status_code == 403
    assert signed_in(world.auditor).post(address).status_code == 403
    assert signed_in(world.stranger).get(address).status_code == 404
    assert signed_in(world.stranger).post(address).status_code == 404


@pytest.mark.parametrize("name", ADMINISTER)
def test_the_crew_is_looked_after_by_manager_and_administrator(world, name):
    address = at(name, getattr(world, ADMINISTER[name]).pk)
    assert signed_in(world.manager).get(address).status_code == 200
    assert signed_in(world.supervisor).get(address).status_code == 403
    assert signed_in(world.stranger).get(address).status_code == 404


@pytest.mark.parametrize("name", POSTED)
def test_positions_are_moved_by_post_alone(world, name):
    address = at(name, getattr(world, POSTED[name]).pk)
    assert signed_in(world.supervisor).get(address).status_code == 405
    assert signed_in(world.member.person).post(address).status_code == 403
    assert signed_in(world.stranger).post(address).status_code == 404
    assert signed_in(world.supervisor).post(address).status_code == 302


@pytest.mark.parametrize("name", sorted(READ))
def test_a_row_that_is_not_there_is_answered_like_one_out_of_sight(world, name):
    assert signed_in(world.supervisor).get(at(name, 10**9)).status_code == 404


def test_a_form_sent_after_the_session_ended_is_handed_back(world):
    answer = Client().post(at("well-new", world.rig.pk), {"name": "Typed for an hour"})
    assert answer.status_code == 403
    assert "Typed for an hour" in answer.content.decode()


# Rigs and crew


def test_rigs_are_listed_for_those_who_have_a_role(world):
    page = signed_in(world.supervisor).get(at("rigs")).content.decode()
    assert "Calder Bank" in page
    assert "Jack-up" in page
    assert "America/Chicago" in page
    assert "Another" not in page
    assert [one.crew_count for one in rigs.rig_list(world.supervisor)] == [4]


def test_a_rig_is_registered_by_an_administrator_and_shown_to_them(world):
    client = signed_in(world.stranger)
    posted = {"name": "New Rig", "kind": "land", "time_zone": "Asia/Kolkata", "display_units": "si"}
    answer = client.post(at("rig-new"), posted)
    rig = Rig.objects.get(name="New Rig")
    assert answer.url == at("crew", rig.pk)
    assert "New Rig" in client.get(at("rigs")).content.decode()
    assert signed_in(world.supervisor).post(at("rig-new"), posted).status_code == 403


def test_each_place_is_offered_once_among_the_time_zones(world):
    page = signed_in(world.stranger).get(at("rig-new")).content.decode()
    for now, formerly in (
        ("Asia/Kolkata", "Asia/Calcutta"),
        ("America/Argentina/Buenos_Aires", "America/Buenos_Aires"),
    ):
        assert f'value="{now}"' in page
        assert f'value="{formerly}"' not in page


def test_a_rig_under_a_former_name_of_its_zone_keeps_it(world):
    rig = a.a_rig(time_zone="Asia/Calcutta")
    a.a_crew_member(rig, world.manager, role="rig-manager")
    assert 'value="Asia/Calcutta" selected' in signed_in(world.manager).get(at("rig-edit", rig.pk)).content.decode()


def test_what_was_typed_stays_when_a_rig_is_refused(world):
    posted = {"name": "Calder Bank", "kind": "land", "time_zone": "Asia/Kolkata", "display_units": "si"}
    answer = signed_in(world.stranger).post(at("rig-new"), posted)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "This is taken already" in page
    assert 'value="Asia/Kolkata" selected' in page


ACCOUNT = {
    "username": "newhand",
    "display_name": "Nora Hand",
    "role": "tester",
    "password": "a tall green crane",
    "password_again": "a tall green crane",
}


def test_an_account_is_opened_with_a_role_and_its_first_password_is_changed_before_anything_opens(world):
    answer = signed_in(world.manager).post(at("account-new", world.rig.pk), ACCOUNT)
    assert answer.url == at("crew", world.rig.pk)
    member = CrewMember.objects.get(person__username="newhand")
    assert (member.rig, member.role, member.person.is_staff) == (world.rig, "tester", False)
    client = Client()
    client.post("/sign-in/", {"username": "newhand", "password": ACCOUNT["password"]})
    assert client.get(at("crew", world.rig.pk)).url == "/profile/password/"
    assert client.post(at("crew", world.rig.pk)).url == "/profile/password/"
    assert client.get("/api/v1/").status_code == 403
    changed = {
        "old_password": ACCOUNT["password"],
        "new_password1": "own words here",
        "new_password2": "own words here",
    }
    same = dict.fromkeys(changed, ACCOUNT["password"])
    assert client.post("/profile/password/", same).status_code == 422
    assert client.post("/profile/password/", changed).status_code == 302
    assert client.get(at("crew", world.rig.pk)).status_code == 200
    assert not TrailEntry.objects.filter(after__icontains=ACCOUNT["password"]).exists()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"password_again": "another"}, "password_again"),
        ({"password": "short", "password_again": "short"}, "password"),
        ({"password": "password1234", "password_again": "password1234"}, "password"),
        ({"password": "newhand123", "password_again": "newhand123"}, "password"),
        ({"username": "NEWHAND"}, "username"),
        ({"username": "new hand"}, "username"),
        ({"role": "captain"}, "role"),
        ({"email": "nobody"}, "email"),
    ],
)
def test_an_account_refused_keeps_what_was_typed_but_no_password(world, changes, field):
    if field == "username":
        signed_in(world.manager).post(at("account-new", world.rig.pk), ACCOUNT)
    count = CrewMember.objects.count()
    answer = signed_in(world.manager).post(at("account-new", world.rig.pk), {**ACCOUNT, **changes})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert "Nora Hand" in page
    assert ACCOUNT["password"] not in page
    assert CrewMember.objects.count() == count


@pytest.mark.parametrize("who", ["supervisor", "auditor", "stranger"])
def test_no_account_is_opened_by_who_does_not_look_after_the_crew(world, who):
    answer = signed_in(getattr(world, who)).post(at("account-new", world.rig.pk), ACCOUNT)
    assert answer.status_code == (404 if who == "stranger" else 403)
    assert not CrewMember.objects.filter(person__username="newhand").exists()


def test_the_crew_is_narrowed_sorted_and_exported(world):
    client = signed_in(world.auditor)
    page = client.get(at("crew", world.rig.pk), {"search": "cora", "sort": "-person"}).content.decode()
    assert "Cora Vane" in page
    assert "Ada Quill" not in page.split('id="list"')[1].split("</section>")[0]
    assert "Take off" not in page
    exported = client.get(at("crew", world.rig.pk), {"role": "rig-manager", "export": "csv"}).content.decode(
        "utf-8-sig"
    )
    (row,) = csv.DictReader(io.StringIO(exported))
    assert (row["Person"], row["Role"], row["Account"]) == ("Cora Vane", "Rig manager", "Open")


def test_the_crew_grows_changes_and_shrinks(world):
    client = signed_in(world.manager)
    person = a.a_person("New Hand")
    client.post(at("crew", world.rig.pk), {"person": person.pk, "role": "tester"})
    member = CrewMember.objects.get(person=person)
    client.post(at("crew-role", member.pk), {"role": "auditor"})
    member.refresh_from_db()
    assert member.role == "auditor"
    assert client.post(at("crew-remove", member.pk), {"reason": ""}).status_code == 422
    client.post(at("crew-remove", member.pk), {"reason": "Tour ended."})
    assert not CrewMember.objects.filter(pk=member.pk).exists()
    page = client.get(at("crew", world.rig.pk)).content.decode()
    assert "Tour ended." in page


# Wells and sections


def section_typed(**changes) -> dict[str, str]:
    typed = {
        "name": "8 1/2 in",
        "masp_basis": "worked-out",
        "masp_method": "pore-gas",
        "total_depth_number": "12000",
        "total_depth_unit": "ft",
        "pore_gradient_number": "0.65",
        "pore_gradient_unit": "psi/ft",
        "gas_gradient_number": "0.1",
        "gas_gradient_unit": "psi/ft",
        "begins_at": "2026-03-01T06:00",
    }
    return {**typed, **changes}


def test_a_section_is_added_with_its_masp_and_shows_the_working(world):
    client = signed_in(world.supervisor)
    answer = client.post(at("section-new", world.well.pk), section_typed())
    section = HoleSection.objects.get(name="8 1/2 in")
    assert (str(section.masp), section.order) == ("6,600 psi", 2)
    assert section.begins_at.isoformat() == "2026-03-01T12:00:00+00:00"
    page = client.get(answer.url).content.decode()
    assert "Gas column" in page
    assert "7,800 psi − 1,200 psi" in page
    assert "1 Mar 2026, 06:00" in page


def test_the_sum_is_worked_out_as_it_is_typed_and_nothing_saved(world):
    client = signed_in(world.member.person)
    before = HoleSection.objects.count()
    page = client.post(at("section-sum", world.well.pk), section_typed(name="")).content.decode()
    assert "6,600.0" in page
    assert "7,800 psi" in page
    assert HoleSection.objects.count() == before


@pytest.mark.parametrize(
    ("changes", "part"),
    [
        ({"gas_gradient_number": ""}, "The gas gradient is missing"),
        ({"gas_gradient_number": "light"}, "Can't be read yet: Gas gradient"),
        ({"masp_method": ""}, "No method is chosen"),
        ({"masp_basis": "entered"}, "Enter the figure"),
        ({"masp_basis": "entered", "masp_number": "5000", "masp_unit": "psi"}, "taken as entered"),
        ({"total_depth_number": "nan"}, "Can't be read yet: Depth at its end"),
    ],
)
def test_what_the_sum_lacks_is_said_while_typing(world, changes, part):
    answer = signed_in(world.supervisor).post(at("section-sum", world.well.pk), section_typed(**changes))
    assert answer.status_code == 200
    assert part in unescape(answer.content.decode())


def test_a_mud_lighter_than_the_pore_pressure_is_warned_of_and_taken(world):
    client = signed_in(world.supervisor)
    typed = section_typed(mud_weight_number="9", mud_weight_unit="lb/gal")
    said = "The mud is lighter than the pore pressure."
    assert said in client.post(at("section-sum", world.well.pk), typed).content.decode()
    answer = client.post(at("section-new", world.well.pk), typed)
    assert said in client.get(answer.url).content.decode()


def test_a_weak_shoe_is_refused_beside_its_field_as_it_is_typed_and_when_saved(world):
    client = signed_in(world.supervisor)
    shoe = {"casing_shoe_depth_number": "6000", "casing_shoe_depth_unit": "ft"}
    shoe |= {"fracture_gradient_number": "10", "fracture_gradient_unit": "lb/gal"}
    typed = section_typed(masp_method="lesser", mud_weight_number="13", mud_weight_unit="lb/gal", **shoe)
    assert "dangerously low" in client.post(at("section-sum", world.well.pk), typed).content.decode()
    answer = client.post(at("section-new", world.well.pk), typed)
    assert answer.status_code == 422
    assert "dangerously low" in answer.context["form"].errors["fracture_gradient"][0]


def test_new_water_says_which_masp_it_moved(world):
    rig = a.a_rig(kind="drillship")
    a.a_crew_member(rig, world.supervisor)
    a.a_stack(rig, "subsea", positions=())
    well = a.a_well(rig, "Deep 1", water_depth="4920 ft")
    a.a_section(well, "12 1/4 in")
    typed = {"name": "Deep 1", "datum": "rotary-table", "water_depth_number": "2920", "water_depth_unit": "ft"}
    typed |= {"air_gap_number": "80", "air_gap_unit": "ft"}
    answer = signed_in(world.supervisor).post(at("well-edit", well.pk), typed, follow=True)
    page = unescape(answer.content.decode())
    assert "12 1/4 in: 5,300 psi, before 5,500 psi" in page
    assert "MASP of the section worked out anew" in page


def test_the_sum_of_another_s_well_is_not_told(world):
    assert signed_in(world.stranger).post(at("section-sum", world.well.pk), section_typed()).status_code == 404


def test_a_section_refused_keeps_every_word(world):
    typed = section_typed(gas_gradient_number="", total_depth_number="12,000.50")
    answer = signed_in(world.supervisor).post(at("section-new", world.well.pk), typed)
    page = unescape(answer.content.decode())
    assert answer.status_code == 422
    assert "The gas gradient is missing." in page
    assert 'value="12,000.50"' in page
    assert 'value="2026-03-01T06:00"' in page


def test_a_time_the_clock_skipped_is_refused(world):
    answer = signed_in(world.supervisor).post(
        at("section-new", world.well.pk), section_typed(begins_at="2026-03-08T02:30")
    )
    assert answer.status_code == 422
    assert "go forward over this time" in answer.content.decode()


def test_an_entered_masp_needs_its_reason(world):
    typed = section_typed(masp_basis="entered", masp_number="5000", masp_unit="psi", masp_reason="")
    answer = signed_in(world.supervisor).post(at("section-new", world.well.pk), typed)
    assert answer.status_code == 422
    assert "needs its reason" in answer.content.decode()
    signed_in(world.supervisor).post(at("section-new", world.well.pk), {**typed, "masp_reason": "Programme."})
    assert str(HoleSection.objects.get(name="8 1/2 in").masp) == "5,000 psi"


def test_amending_a_section_works_the_masp_out_anew(world):
    client = signed_in(world.supervisor)
    address = at("section-edit", world.section.pk)
    typed = form_values(client.get(address).content.decode())
    client.post(address, {**typed, "total_depth_number": "12000"})
    world.section.refresh_from_db()
    assert str(world.section.masp) == "6,000 psi"


def test_a_well_is_registered_and_amended(world):
    client = signed_in(world.supervisor)
    typed = {"name": "Calder 15", "datum": "sea-level", "water_depth_number": "61.5", "water_depth_unit": "m"}
    answer = client.post(at("well-new", world.rig.pk), typed)
    well = Well.objects.get(name="Calder 15")
    assert answer.url == at("well", well.pk)
    assert "61.5" in client.get(answer.url).content.decode()
    assert client.post(at("well-edit", well.pk), {**typed, "name": "Calder 14"}).status_code == 422


# Stacks


def test_a_stack_shows_its_drawing_and_the_same_in_words(world):
    page = signed_in(world.auditor).get(at("stack", world.stack.pk)).content.decode()
    assert page.count('<svg class="elevation-') == 2
    table = page[page.index('id="positions"') :]
    for position in world.stack.positions.all():
        assert position.name in table
    assert world.component.serial in table
    assert "10,000" in table
    assert "Empty" in table
    assert "Install<" not in table


def test_a_stack_is_shown_as_it_stood(world):
    client = signed_in(world.supervisor)
    before = (a.LONG_AGO - timedelta(days=1)).astimezone(world.rig.zone).strftime("%Y-%m-%dT%H:%M")
    page = client.get(at("stack", world.stack.pk), {"at": before}).content.decode()
    assert "This is the past." in page
    assert "0 of 5 positions filled" in page
    assert world.component.serial not in page
    assert at("installation-remove", world.installation.pk) not in page


@pytest.mark.parametrize("when", ["2999-01-01T00:00", "yesterday", "0000-00-00T00:00", "99999999999"])
def test_a_moment_that_can_not_be_shown_is_refused_beside_its_field(world, when):
    answer = signed_in(world.supervisor).get(at("stack", world.stack.pk), {"at": when})
    assert answer.status_code == 200
    assert "errorlist" in answer.content.decode()
    assert world.component.serial in answer.content.decode()


def test_the_state_another_application_knows_stands_in_drawing_and_table(world):
    def states(stack, moment):
        return {world.position.pk: StateMark("Overdue <b>", "overdue", "bad", "3 days")}

    panels.position_state.register(states)
    try:
        page = signed_in(world.auditor).get(at("stack", world.stack.pk)).content.decode()
    finally:
        panels.position_state.unregister(states)
    assert page.count("Overdue &lt;b&gt;") == 3
    assert "<b>" not in page.replace("</b>", "<b>").split("<main")[1].split("</main")[0].replace("&lt;b&gt;", "")


def test_a_stack_is_built_from_nothing(world):
    client = signed_in(world.supervisor)
    client.post(at("stack-new", world.rig.pk), {"name": "Second", "kind": "surface"})
    stack = Stack.objects.get(name="Second")
    assert "The stack has no positions yet" in client.get(at("stack", stack.pk)).content.decode()
    spool = {"name": "Spool", "kind": "drilling-spool", "group": "bore", "order": "1"}
    client.post(at("position-new", stack.pk), spool)
    valve = {"name": "Choke", "kind": "choke-valve", "group": "choke-side", "order": "2"}
    client.post(at("position-new", stack.pk), {**valve, "outlet_of": stack.positions.get().pk})
    assert [str(one) for one in stack.positions.all()] == ["Spool", "Choke"]
    client.post(at("position-up", stack.positions.get(name="Choke").pk))
    assert [str(one) for one in stack.positions.all()] == ["Choke", "Spool"]
    refused = client.post(at("position-remove", stack.positions.get(name="Spool").pk), follow=True)
    assert "a valve is on its outlet" in refused.content.decode()
    client.post(at("position-remove", stack.positions.get(name="Choke").pk))
    assert stack.positions.count() == 1


def test_a_position_of_another_stack_is_no_outlet(world):
    elsewhere = a.a_stack(a.a_rig()).positions.get(name="Drilling spool")
    typed = {"name": "X", "kind": "choke-valve", "group": "choke-side", "order": "1", "outlet_of": elsewhere.pk}
    assert signed_in(world.supervisor).post(at("position-new", world.stack.pk), typed).status_code == 422


def test_a_component_is_installed_and_removed_on_the_rig_s_clock(world):
    client = signed_in(world.supervisor)
    address = at("install", world.empty.pk)
    assert "SPARE-1" in client.get(address).content.decode()
    answer = client.post(address, {"component": world.spare.pk, "installed_at": "2026-03-02T07:15"})
    assert answer.url.endswith(f"#position-{world.empty.pk}")
    installation = Installation.objects.get(component=world.spare)
    assert installation.installed_at.isoformat() == "2026-03-02T13:15:00+00:00"
    address = at("installation-remove", installation.pk)
    refused = client.post(address, {"removed_at": "2026-03-02T07:00", "reason": "Worn."})
    assert refused.status_code == 422
    assert 'value="Worn."' in refused.content.decode()
    client.post(address, {"removed_at": "2026-03-02T08:00", "reason": "Worn."})
    installation.refresh_from_db()
    assert installation.removed_at.isoformat() == "2026-03-02T14:00:00+00:00"
    assert "Worn." in client.get(at("position", world.empty.pk)).content.decode()


def test_times_written_down_wrongly_are_corrected_with_the_reason(world):
    client = signed_in(world.supervisor)
    address = at("installation-correct", world.installation.pk)
    assert client.post(address, {"installed_at": "2025-02-01T06:00", "reason": ""}).status_code == 422
    client.post(address, {"installed_at": "2025-02-01T06:00", "reason": "Written down a day late."})
    world.installation.refresh_from_db()
    assert world.installation.installed_at.isoformat() == "2025-02-01T12:00:00+00:00"
    assert "Written down a day late." in client.get(at("component", world.component.pk)).content.decode()


def test_what_stands_elsewhere_is_not_offered_and_not_taken(world):
    client = signed_in(world.supervisor)
    typed = {"component": world.component.pk, "installed_at": "2026-03-02T07:15"}
    assert client.post(at("install", world.empty.pk), typed).status_code == 422


def test_a_time_to_come_is_refused_beside_its_field(world):
    soon = (timezone.now() + timedelta(days=2)).astimezone(world.rig.zone).strftime("%Y-%m-%dT%H:%M")
    answer = signed_in(world.supervisor).post(
        at("install", world.empty.pk), {"component": world.spare.pk, "installed_at": soon}
    )
    assert answer.status_code == 422
    assert "lies in the future" in answer.content.decode()


# Components


def component_typed(**changes) -> dict[str, str]:
    typed = {
        "kind": "annular",
        "serial": "AN-9",
        "maker": "Ostrava <Iron>",
        "rated_working_pressure_number": "5000",
        "rated_working_pressure_unit": "psi",
        "closing_volume_number": "21.50",
        "closing_volume_unit": "gal",
        "closing_ratio": "7.1",
    }
    return {**typed, **changes}


def test_a_component_is_registered_with_every_figure_as_written(world):
    client = signed_in(world.supervisor)
    answer = client.post(at("component-new", world.rig.pk), component_typed())
    component = Component.objects.get(serial="AN-9")
    assert component.closing_volume.text == "21.50"
    page = client.get(answer.url).content.decode()
    assert "21.50 US gal" in page
    assert "Ostrava &lt;Iron&gt;" in page
    assert "standing nowhere" in page


@pytest.mark.parametrize(
    ("changes", "part"),
    [
        ({"serial": ""}, "This is missing. Fill it in."),
        ({"kind": ""}, "Nothing is chosen. Choose one."),
        ({"rated_working_pressure_number": "five"}, "is not a number"),
        ({"rated_working_pressure_unit": "stone"}, "is not a unit of pressure"),
        ({"closing_volume_number": "6,85"}, "two ways"),
        ({"closing_ratio": "1e9"}, "digits"),
        ({"closing_ratio": "-1"}, "over zero"),
        ({"manufactured_on": "2999-01-01"}, "lies in the future"),
        ({"manufactured_on": "31/31/2020"}, "Enter a valid date"),
        ({"kind": "toaster"}, "valid choice"),
        ({"serial": "x" * 61}, "at most 60"),
        ({"serial": "SPARE-1", "kind": "pipe-ram"}, "already holds"),
        ({"remarks": "\x00"}, "Null characters"),
    ],
)
def test_bad_input_is_refused_beside_the_field_and_kept(world, changes, part):
    typed = component_typed(**changes)
    answer = signed_in(world.supervisor).post(at("component-new", world.rig.pk), typed)
    page = unescape(answer.content.decode())
    assert answer.status_code == 422
    assert part in page
    assert 'class="error-summary"' in page
    assert "Ostrava <Iron>" in page


def form_values(page: str) -> dict[str, str]:
    """What the form on a page would send as it stands."""
    body = page[page.index('<form class="form"') :]
    values = {}
    for tag in re.findall(r"<input[^>]*>", body):
        name, value = (re.search(rf'\b{part}="([^"]*)"', tag) for part in ("name", "value"))
        kind = re.search(r'type="(\w+)"', tag)
        if name and (kind is None or kind[1] not in {"radio", "checkbox", "file"} or "checked" in tag):
            values[name[1]] = unescape(value[1]) if value else ""
    for name, options in re.findall(r'<select name="(\w+)".*?>(.*?)</select>', body, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options)
        values[name] = unescape(chosen[1]) if chosen else ""
    for name, text in re.findall(r'<textarea name="(\w+)"[^>]*>\s*(.*?)</textarea>', body, re.DOTALL):
        values[name] = unescape(text)
    return values


@pytest.mark.parametrize(
    ("name", "thing"),
    [
        ("component-edit", "component"),
        ("instrument-edit", "instrument"),
        ("well-edit", "well"),
        ("section-edit", "section"),
        ("position-edit", "position"),
        ("stack-edit", "stack"),
        ("rig-edit", "rig"),
    ],
)
def test_a_form_saved_as_it_came_changes_nothing(world, name, thing):
    row = getattr(world, thing)
    before = type(row).objects.filter(pk=row.pk).values().get()
    client = signed_in(world.manager)
    answer = client.post(at(name, row.pk), form_values(client.get(at(name, row.pk)).content.decode()))
    assert answer.status_code == 302, re.findall("errorlist.*?</ul>", answer.content.decode())
    assert type(row).objects.filter(pk=row.pk).values().get() == before


def test_a_form_left_open_does_not_write_over_somebody_else_s_save(world):
    client = signed_in(world.supervisor)
    address = at("component-edit", world.component.pk)
    typed = form_values(client.get(address).content.decode())
    client.post(address, {**typed, "maker": "First"})
    answer = client.post(address, {**typed, "maker": "Second"})
    assert answer.status_code == 422
    assert "Somebody else changed this" in answer.content.decode()
    assert Component.objects.get(pk=world.component.pk).maker == "First"


def test_a_component_s_page_holds_all_that_is_known(world):
    page = signed_in(world.auditor).get(at("component", world.component.pk)).content.decode()
    for part in (
        "Upper pipe ram",
        "Ram block seals",
        "Certificate of conformity",
        world.document.sha256,
        "Bonnet seals changed.",
        "Repair",
        "1 Jun 2026",
        "Installed",
        "by Demo loader",
    ):
        assert part in page


def test_another_application_s_panel_stands_on_the_page(world):
    def panel(request, component):
        return f"<p>Due list of {component.serial}</p>" if component == world.component else None

    panels.component.register(panel)
    try:
        page = signed_in(world.auditor).get(at("component", world.component.pk)).content.decode()
    finally:
        panels.component.unregister(panel)
    assert f"Due list of {world.component.serial}" in page


def test_a_metric_reader_sees_figures_as_entered_and_in_metric(world):
    world.supervisor.display_units = "si"
    world.supervisor.save()
    page = signed_in(world.supervisor).get(at("component", world.component.pk)).content.decode()
    assert "10,000 psi" in page
    assert "68.95 MPa" in page


def test_a_component_is_retired_and_brought_back(world):
    client = signed_in(world.supervisor)
    assert client.post(at("component-retire", world.component.pk), {"reason": "Worn."}).status_code == 422
    client.post(at("component-retire", world.spare.pk), {"reason": "Worn."})
    assert Component.objects.get(pk=world.spare.pk).retired_at
    assert "SPARE-1" not in client.get(at("components", world.rig.pk)).content.decode()
    assert "SPARE-1" in client.get(at("components", world.rig.pk), {"where": "retired"}).content.decode()
    client.post(at("component-reinstate", world.spare.pk), {"reason": "Refurbished."})
    assert Component.objects.get(pk=world.spare.pk).retired_at is None


def test_work_elastomers_and_documents_are_added(world):
    client = signed_in(world.supervisor)
    pk = world.spare.pk
    work = {"kind": "overhaul", "finished_at": "2026-03-01T10:00", "description": "Overhauled in the shop."}
    client.post(at("service-new", pk), work)
    client.post(at("elastomer-new", pk), {"part": "Packer", "installed_on": "2026-02-01", "expires_on": "2099-01-01"})
    paper = SimpleUploadedFile("paper.pdf", b"%PDF", content_type="text/html")
    client.post(at("component-document-new", pk), {"kind": "drawing", "title": "Drawing", "file": paper})
    client.post(at("elastomer-remove", world.spare.elastomers.get().pk), {"removed_on": "2026-03-01"})
    page = client.get(at("component", pk)).content.decode()
    for part in ("Overhauled in the shop.", "Packer", "removed 1 Mar 2026", "paper.pdf"):
        assert part in page


def test_a_document_without_a_file_or_with_an_empty_one_keeps_what_was_typed(world):
    client = signed_in(world.supervisor)
    address = at("component-document-new", world.component.pk)
    for file in (None, SimpleUploadedFile("empty.pdf", b"")):
        typed = {"kind": "manual", "title": "The long title"} | ({"file": file} if file else {})
        answer = client.post(address, typed)
        assert answer.status_code == 422
        assert 'value="The long title"' in answer.content.decode()


def test_a_document_is_handed_out_as_received_and_never_shown(world):
    answer = signed_in(world.auditor).get(at("document-file", world.document.pk))
    assert answer.content == b"as received"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="conformity.pdf"'
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Type"] == "application/octet-stream"


def test_a_file_that_is_gone_is_told_and_not_a_fault(world, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    answer = signed_in(world.auditor).get(at("document-file", world.document.pk), follow=True)
    assert answer.status_code == 200
    assert "Restore it from a backup" in answer.content.decode()
    with pytest.raises(files.FileMissing):
        files.fetch(world.document.sha256)


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"search": "spare"}, {"SPARE-1"}),
        ({"search": "upper pipe"}, {"component"}),
        ({"kind": "pipe-ram"}, {"SPARE-1", "component"}),
        ({"kind": "pipe-ram", "where": "installed"}, {"component"}),
        ({"where": "spare"}, {"SPARE-1", "RACK-1", "bank"}),
        ({"elastomers": "on"}, {"component"}),
    ],
)
def test_components_are_filtered_by_the_address(world, asked, found):
    page = signed_in(world.auditor).get(at("components", world.rig.pk), asked).content.decode()
    named = {"component": world.component.serial, "bank": world.bank.component.serial}
    wanted = {named.get(name, name) for name in found}
    serials = set(Component.objects.values_list("serial", flat=True))
    assert {serial for serial in serials if f">{serial}</a>" in page} == wanted


@pytest.mark.parametrize(
    "asked",
    [{"kind": "toaster"}, {"sort": "-x"}, {"page": "99"}, {"where": "?"}, {"search": "%' OR 1=1"}, {"export": "?"}],
)
def test_nonsense_in_the_address_is_no_fault(world, asked):
    assert signed_in(world.auditor).get(at("components", world.rig.pk), asked).status_code == 200


def test_the_list_is_exported_whole_with_the_unit_in_the_head(world):
    answer = signed_in(world.auditor).get(at("components", world.rig.pk), {"export": "csv", "kind": "annular"})
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert rows[0]["RWP, psi"] == "10000.0"
    assert rows[0]["Stands in"].startswith("Annular, Stack")
    assert len(rows) == 1


# Instruments


def test_an_instrument_is_registered_recalibrated_and_retired(world):
    client = signed_in(world.supervisor)
    typed = {"kind": "gauge", "serial": "G-1", "range_high_number": "700", "range_high_unit": "bar"}
    client.post(at("instrument-new", world.rig.pk), typed)
    gauge = Instrument.objects.get(serial="G-1")
    assert "No date on file" in client.get(at("instrument", gauge.pk)).content.decode()
    calibrated = {"calibrated_on": "2026-01-02", "calibration_due_on": "2026-01-20"}
    client.post(at("instrument-edit", gauge.pk), {**typed, **calibrated})
    assert "Expired" in client.get(at("instruments", world.rig.pk)).content.decode()
    client.post(at("instrument-retire", gauge.pk), {"retired_on": "2026-02-01", "reason": "Dropped."})
    assert "G-1" not in client.get(at("instruments", world.rig.pk)).content.decode()
    assert "Dropped." in client.get(at("instrument", gauge.pk)).content.decode()


# Two rows or fifty: the same number of queries


def counted(client, address, django_assert_max_num_queries) -> int:
    with django_assert_max_num_queries(100) as captured:
        assert client.get(address).status_code == 200
    return len(captured)


def many_rows(name: str, world: World, count: int) -> str:
    """Fill what the page lists up to `count` rows; return its address."""
    if name in {"stack", "stack-arrange"}:
        stack = a.a_stack(world.rig, positions=())
        for number in range(count):
            a.an_installation(a.a_position(stack, "choke", name=f"P{number}", group="manifold"))
        return at(name, stack.pk)
    if name == "components":
        rig = a.a_rig()
        a.a_crew_member(rig, world.supervisor)
        for position in a.a_stack(
            rig, positions=tuple((f"P{n}", "choke", "manifold", "") for n in range(count))
        ).positions.all():
            a.an_installation(position)
        return at(name, rig.pk)
    if name == "component":
        component = a.a_component(world.rig)
        for number in range(count):
            a.a_document(component, number=str(number))
            a.an_elastomer(component)
            a.a_service_event(component)
        return at(name, component.pk)
    if name == "well":
        well = a.a_well(world.rig)
        for _ in range(count):
            a.a_section(well)
        return at(name, well.pk)
    rig = a.a_rig()
    a.a_crew_member(rig, world.supervisor)
    for _ in range(count):
        {"wells": a.a_well, "instruments": a.an_instrument, "crew": lambda rig: a.a_crew_member(rig, a.a_person())}[
            name
        ](rig)
    return at(name, rig.pk)


@pytest.mark.parametrize(
    "name", ["stack", "stack-arrange", "components", "component", "wells", "well", "instruments", "crew"]
)
def test_a_page_asks_the_database_as_often_for_two_rows_as_for_fifty(world, name, django_assert_max_num_queries):
    client = signed_in(world.supervisor)
    few, many = many_rows(name, world, 2), many_rows(name, world, 50)
    client.get(few)
    first = counted(client, few, django_assert_max_num_queries)
    assert counted(client, many, django_assert_max_num_queries) == first


def test_the_administration_shows_and_changes_nothing(world):
    client = signed_in(a.a_person(superuser=True))
    for model in (
        "rig",
        "component",
        "installation",
        "holesection",
        "position",
        "document",
        "instrument",
        "crewmember",
    ):
        assert client.get(f"/admin/equipment/{model}/").status_code == 200
        assert client.get(f"/admin/equipment/{model}/add/").status_code == 403
    assert client.post(f"/admin/equipment/component/{world.component.pk}/change/", {"serial": "x"}).status_code == 403
    assert Position.objects.count() > 0
