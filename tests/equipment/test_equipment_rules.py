"""Rules of rigs, wells, sections, stacks, components, instruments and documents, as their actions hold them."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from equipment import files
from equipment.actions import components, documents, instruments, refusals, rigs, service, stacks, wells
from equipment.errors import NotAllowed, NotYours, Refused
from equipment.models import Component, CrewRole, HoleSection, Rig
from equipment.queries import access, masp
from equipment.queries import stacks as stack_queries
from equipment.queries.access import Right
from equipment.queries.instruments import expiry_on
from equipment.queries.versions import digest
from tests import builders as a
from trail.actors import System

pytestmark = pytest.mark.django_db

DAY = a.DAY
DEMO = {"by": System.DEMO, "at": DAY}


def refused(act) -> Refused:
    with pytest.raises(Refused) as caught, transaction.atomic():
        act()
    return caught.value


def faults(act) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as caught, transaction.atomic():
        act()
    return caught.value.message_dict


# Rigs and crews


@pytest.mark.parametrize("zone", ["Nowhere/Land", "UTC+3", "", "../etc/passwd"])
def test_a_rig_runs_on_a_known_time_zone(zone: str):
    assert "time_zone" in faults(lambda: a.a_rig(time_zone=zone))


def test_a_rig_s_name_is_its_own():
    a.a_rig("North Sill")
    assert faults(lambda: a.a_rig("North Sill"))["name"][0].startswith("This is taken")


def test_all_fields_at_fault_are_named_together():
    assert set(faults(lambda: a.a_rig("x" * 90, kind="boat", time_zone="Mars"))) == {"name", "kind", "time_zone"}


def test_who_registers_a_rig_looks_after_it():
    person = a.a_person()
    rig = a.a_rig(by=person)
    assert access.may(person, rig, Right.ADMINISTER)


def test_a_person_has_one_role_on_a_rig():
    rig = a.a_rig()
    person = a.a_person(rig=rig)
    error = refused(lambda: a.a_crew_member(rig, person, role="auditor"))
    assert error.field == "person"
    assert "Change the role" in error.remedy


def test_the_last_who_looks_after_the_crew_stays():
    rig = a.a_rig()
    only = a.a_crew_member(rig, a.a_person(), role="rig-manager")
    assert refused(lambda: rigs.remove_crew_member(only, reason="Left.", **DEMO)).remedy
    assert refused(lambda: rigs.change_crew_role(only, role="tester", **DEMO)).field == "role"
    a.a_crew_member(rig, a.a_person(), role="administrator")
    rigs.remove_crew_member(only, reason="Left.", **DEMO)
    assert rig.crew.count() == 1


def test_somebody_s_save_is_not_written_over():
    rig = a.a_rig()
    seen = digest(rig)
    rigs.amend_rig(rig, name="First", seen=seen, **DEMO)
    assert "Somebody else" in refused(lambda: rigs.amend_rig(rig, name="Second", seen=seen, **DEMO)).reason
    assert Rig.objects.get(pk=rig.pk).name == "First"


# Access


@pytest.mark.parametrize(
    ("role", "rights"),
    [
        (CrewRole.TESTER, {Right.READ, Right.RECORD, Right.SIGN, Right.OPEN_DEFECT}),
        (
            CrewRole.SUPERVISOR,
            {Right.READ, Right.RECORD, Right.MANAGE, Right.WORK, Right.DEFER, Right.SIGN}
            | {Right.OPEN_DEFECT, Right.ACT_ON_DEFECT},
        ),
        (
            CrewRole.RIG_MANAGER,
            {Right.READ, Right.MANAGE, Right.WORK, Right.DEFER, Right.SIGN, Right.ADMINISTER}
            | {Right.OPEN_DEFECT, Right.ACT_ON_DEFECT, Right.DISPOSE},
        ),
        (CrewRole.LESSEE, {Right.READ, Right.SIGN}),
        (CrewRole.AUDITOR, {Right.READ}),
        (CrewRole.ADMINISTRATOR, {Right.READ, Right.RECORD, Right.MANAGE, Right.WORK, Right.ADMINISTER}),
    ],
)
def test_a_role_gives_its_rights(role, rights):
    rig = a.a_rig()
    assert access.rights_on(a.a_person(rig=rig, role=role), rig) == rights


def test_a_rig_without_a_role_is_out_of_sight():
    mine, other = a.a_rig(), a.a_rig()
    person = a.a_person(rig=mine)
    assert list(access.rigs_visible(person)) == [mine]
    with pytest.raises(NotYours):
        access.rig_for(person, other.pk)
    with pytest.raises(NotYours):
        access.rig_for(person, 10**9)


def test_a_right_the_role_lacks_is_refused_with_who_has_it():
    rig = a.a_rig()
    with pytest.raises(NotAllowed, match=r"change equipment.*equipment supervisor"):
        access.rig_for(a.a_person(rig=rig, role="tester"), rig.pk, needs=Right.MANAGE)


def test_a_superuser_sees_all_and_a_closed_account_nothing():
    rig = a.a_rig()
    assert access.rig_for(a.a_person(superuser=True), rig.pk, needs=Right.ADMINISTER) == rig
    closed = a.a_person(rig=rig)
    closed.is_active = False
    assert not access.rigs_visible(closed).exists()
    assert access.rights_on(closed, rig) == frozenset()


# Wells and sections


@pytest.fixture
def well():
    return a.a_well(a.a_rig())


def test_a_masp_is_worked_out_with_every_step(well):
    """10,000 ft × (0.6 − 0.1) psi/ft = 5,000 psi, worked by hand."""
    section = a.a_section(well)
    assert str(section.masp) == "5,000 psi"
    assert masp.working_lines(section, "us") == [
        "Formation pressure: 0.6 psi/ft × 10,000 ft = 6,000 psi",
        "Gas column: 0.1 psi/ft × 10,000 ft = 1,000 psi",
        "Pressure from the formation, at surface: 6,000 psi − 1,000 psi = 5,000 psi",
    ]
    assert masp.working_lines(section, "si")[0].endswith("41,368.5 kPa")


def test_a_large_masp_of_a_metric_rig_is_in_megapascals():
    """5,000 psi is 34.4738 MPa."""
    assert str(a.a_section(a.a_well(a.a_rig(display_units="si"))).masp) == "34.4738 MPa"


def test_of_two_methods_the_lesser_governs(well):
    """At the shoe: 6,000 ft × (0.85 − 0.1) psi/ft = 4,500 psi, under the 5,000 psi from the formation."""
    assert str(a.a_section(well, masp_method="lesser").masp) == "4,500 psi"


def test_without_a_pore_gradient_the_mud_weight_stands_for_it(well):
    """10,000 ft × (10 lb/gal × 12/231 psi/ft per lb/gal − 0.1 psi/ft) = 4,194.8 psi."""
    section = a.a_section(well, pore_gradient=None, mud_weight="10 lb/gal")
    assert str(section.masp) == "4,194.8 psi"


def test_under_a_subsea_stack_the_masp_is_taken_at_the_wellhead():
    """Mudline at 80 + 4,920 = 5,000 ft: 6,000 psi − 0.1 psi/ft × (10,000 − 5,000) ft = 5,500 psi."""
    rig = a.a_rig(kind="drillship")
    a.a_stack(rig, "subsea", positions=())
    section = a.a_section(a.a_well(rig, water_depth="4920 ft"))
    assert str(section.masp) == "5,500 psi"
    assert "at the wellhead" in " ".join(masp.working_lines(section, "us"))


def test_under_a_subsea_stack_the_well_needs_its_water_depth():
    rig = a.a_rig(kind="drillship")
    a.a_stack(rig, "subsea", positions=())
    well = a.a_well(rig, water_depth=None)
    assert refused(lambda: a.a_section(well)).field == "water_depth"


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"gas_gradient": None}, "gas_gradient"),
        ({"total_depth": None}, "total_depth"),
        ({"pore_gradient": None, "mud_weight": None}, "pore_gradient"),
        ({"masp_method": "fracture-gas", "casing_shoe_depth": None}, "casing_shoe_depth"),
        ({"masp_method": "lesser", "fracture_gradient": None}, "fracture_gradient"),
        ({"masp_method": "lesser", "casing_shoe_depth": "12000 ft"}, "casing_shoe_depth"),
        ({"gas_gradient": "0.7 psi/ft"}, "gas_gradient"),
        ({"masp_basis": "entered", "masp": "4000 psi"}, "masp_reason"),
        ({"masp_basis": "entered", "masp": "4000 psi", "masp_reason": "  "}, "masp_reason"),
        ({"masp_basis": "entered", "masp_reason": "Client."}, "masp"),
        ({"masp_basis": "entered", "masp": "-1 psi", "masp_reason": "Client."}, "masp"),
    ],
)
def test_what_the_sum_lacks_is_named(well, facts, field):
    error = refused(lambda: a.a_section(well, **facts))
    assert error.field == field
    assert error.remedy


def test_the_database_wants_a_reason_for_an_entered_masp(well):
    section = a.a_section(well)
    with pytest.raises(IntegrityError), transaction.atomic():
        HoleSection.objects.filter(pk=section.pk).update(masp_basis="entered", masp_reason="")


def test_an_entered_masp_keeps_its_digits_and_drops_the_working(well):
    section = a.a_section(well)
    amended = wells.amend_section(
        section, masp_basis="entered", masp="4250.50 psi", masp_reason="From the well programme.", **DEMO
    )
    assert (amended.masp.text, amended.masp_working, amended.masp_method) == ("4250.50", [], "")


def test_a_section_may_wait_for_its_figures(well):
    section = wells.add_section(well, name="12 1/4 in", **DEMO)
    assert section.masp is None
    assert section.order == 1
    assert wells.add_section(well, name="8 1/2 in", **DEMO).order == 2


def test_every_quantity_that_cannot_be_read_is_named(well):
    found = faults(lambda: a.a_section(well, total_depth="deep", mud_weight="11 psi"))
    assert set(found) == {"total_depth", "mud_weight"}


def test_a_well_is_finished_after_it_is_spudded(well):
    error = refused(lambda: wells.amend_well(well, spudded_on=date(2026, 2, 1), finished_on=date(2026, 1, 1), **DEMO))
    assert error.field == "finished_on"


# Stacks


def names(stack) -> list[str]:
    return [position.name for position in stack_queries.positions_of(stack)]


def orders(stack) -> list[int]:
    return [position.order for position in stack_queries.positions_of(stack)]


def test_positions_make_room_for_one_another():
    stack = a.a_stack(a.a_rig(), positions=tuple((name, "pipe-ram", "bore", "") for name in "ABCD"))
    a.a_position(stack, name="First", order=1)
    assert names(stack) == ["First", "A", "B", "C", "D"]
    stacks.amend_position(stack.positions.get(name="First"), order=4, **DEMO)
    assert names(stack) == ["A", "B", "C", "First", "D"]
    stacks.amend_position(stack.positions.get(name="D"), order=1, **DEMO)
    assert names(stack) == ["D", "A", "B", "C", "First"]
    stacks.remove_position(stack.positions.get(name="A"), **DEMO)
    assert names(stack) == ["D", "B", "C", "First"]
    assert orders(stack) == [1, 2, 3, 4]


@pytest.mark.parametrize("order", [0, 6, -1])
def test_a_position_stands_within_the_stack(order):
    stack = a.a_stack(a.a_rig(), positions=tuple((name, "pipe-ram", "bore", "") for name in "ABCD"))
    assert refused(lambda: a.a_position(stack, order=order)).field == "order"


def test_outlets_hang_on_the_bore_of_their_own_stack():
    rig = a.a_rig()
    stack, other = a.a_stack(rig), a.a_stack(rig)
    spool, elsewhere = (one.positions.get(name="Drilling spool") for one in (stack, other))
    valve = stack.positions.get(name="Inner choke valve")
    side = {"group": "choke-side"}
    assert refused(lambda: a.a_position(stack, "choke-valve", outlet_of=elsewhere, **side)).field == "outlet_of"
    assert refused(lambda: a.a_position(stack, "choke-valve", outlet_of=valve, **side)).field == "outlet_of"
    assert refused(lambda: a.a_position(stack, "kelly-valve", group="drive", outlet_of=spool)).field == "outlet_of"
    assert refused(lambda: a.a_position(stack, "pipe-ram", group="drive")).field == "group"
    assert refused(lambda: stacks.amend_position(spool, group="manifold", **DEMO)).field == "group"


def test_the_kind_of_a_position_with_a_history_stays():
    installation = a.an_installation(a.a_position(a.a_stack(a.a_rig(), positions=())))
    assert refused(lambda: stacks.amend_position(installation.position, kind="blind-ram", **DEMO)).field == "kind"


def test_a_position_with_a_history_or_outlets_stays():
    stack = a.a_stack(a.a_rig())
    spool, annular = (stack.positions.get(name=name) for name in ("Drilling spool", "Annular"))
    a.an_installation(annular)
    assert refused(lambda: stacks.remove_position(spool, **DEMO)).remedy
    assert refused(lambda: stacks.remove_position(annular, **DEMO)).remedy
    assert stack.positions.count() == len(a.SURFACE_POSITIONS)


def test_a_position_knows_its_side_of_the_uppermost_ram():
    stack = a.a_stack(a.a_rig(kind="drillship"), "subsea")
    roles = stack_queries.position_roles(stack_queries.positions_of(stack))
    by_name = {position.name: roles[position.pk] for position in stack.positions.all()}
    above = {name for name, role in by_name.items() if role == stack_queries.ABOVE_UPPERMOST_RAM}
    assert above == {"Upper annular", "Riser connector", "Lower annular", "Gas bleed valve"}
    assert by_name["Upper inner choke valve"] == stack_queries.BELOW_UPPERMOST_RAM
    assert by_name["Accumulator bank"] == by_name["Riser adapter"] == ""
    assert stack_queries.position_role(stack.positions.get(name="Gas bleed valve")) == "above-uppermost-ram"


def test_what_stands_is_asked_in_the_same_number_of_queries_however_many(django_assert_num_queries):
    small = a.a_stack(a.a_rig(), positions=(("A", "pipe-ram", "bore", ""), ("B", "pipe-ram", "bore", "")))
    large = a.a_stack(a.a_rig(), positions=tuple((f"P{number}", "choke", "manifold", "") for number in range(50)))
    for stack in (small, large):
        for position in stack.positions.all():
            a.an_installation(position)
        with django_assert_num_queries(2):
            standing = stack_queries.as_installed(stack, at=DAY)
            assert all(one.component.serial and one.position.name for one in standing)


# Components and what belongs to them


@pytest.fixture
def component():
    return a.a_component(a.a_rig(), serial="PR-1")


def test_a_serial_number_is_once_a_kind_on_a_rig(component):
    error = refused(lambda: a.a_component(component.rig, serial=" PR-1 "))
    assert error.field == "serial"
    assert "amend" in error.remedy
    assert a.a_component(component.rig, "annular", serial="PR-1").pk
    assert a.a_component(a.a_rig(), serial="PR-1").pk


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"rated_working_pressure": "0 psi"}, "rated_working_pressure"),
        ({"closing_ratio": "-2"}, "closing_ratio"),
        ({"closes_on_smallest": "5 in", "closes_on_largest": "3.5 in"}, "closes_on_largest"),
        ({"manufactured_on": date(2027, 1, 1)}, "manufactured_on"),
    ],
)
def test_a_component_s_figures_are_possible(component, facts, field):
    if "closing_ratio" in facts:
        facts = {"closing_ratio": Decimal(facts["closing_ratio"])}
    assert refused(lambda: components.amend_component(component, **facts, **DEMO)).field == field


def test_quantities_are_kept_as_written(component):
    amended = components.amend_component(component, closing_volume="6.850 gal", nominal_bore="346.08 mm", **DEMO)
    stored = Component.objects.get(pk=amended.pk)
    assert (stored.closing_volume.text, str(stored.nominal_bore)) == ("6.850", "346.08 mm")
    assert stored.nominal_bore.si == pytest.approx(0.34608)


def test_a_race_for_a_serial_number_is_told_beside_the_field(component, monkeypatch):
    monkeypatch.setattr(refusals, "refuse_invalid", lambda _: None)
    error = refused(lambda: a.a_component(component.rig, serial="PR-1"))
    assert error.field == "serial"


def test_a_standing_component_is_not_retired_and_a_retired_one_not_installed(component):
    position = a.a_position(a.a_stack(component.rig, positions=()))
    standing = a.an_installation(position)
    assert "stands" in refused(lambda: components.retire_component(standing.component, reason="Worn.", **DEMO)).reason
    components.retire_component(component, reason="Worn.", **DEMO)
    other = a.a_position(position.stack)
    assert "retired" in refused(lambda: a.an_installation(other, component)).reason
    components.reinstate_component(component, reason="Refurbished.", **DEMO)
    assert a.an_installation(other, component).pk


def test_a_component_keeps_its_kind_once_it_stood_somewhere(component):
    a.an_installation(a.a_position(a.a_stack(component.rig, positions=())), component)
    assert refused(lambda: components.amend_component(component, kind="blind-ram", **DEMO)).field == "kind"


def test_an_elastomer_does_not_run_out_before_it_is_fitted(component):
    assert refused(lambda: a.an_elastomer(component, expires_on=date(2025, 1, 1))).field == "expires_on"
    fitted = a.an_elastomer(component)
    early = refused(lambda: service.remove_elastomer(fitted, removed_on=date(2025, 1, 1), **DEMO))
    assert early.field == "removed_on"


def test_work_to_come_is_not_recorded(component):
    tomorrow = DAY + timedelta(days=1)
    assert refused(lambda: a.a_service_event(component, finished_at=tomorrow)).field == "finished_at"
    assert refused(lambda: a.an_elastomer(component, installed_on=tomorrow.date())).field == "installed_on"


def test_a_document_is_kept_as_received_under_its_hash(component):
    document = a.a_document(component, b"as received", file_name='C:\\scans\\..\\conf\r\n"ormity.pdf')
    assert files.fetch(document.sha256) == b"as received"
    assert document.file_name == "conformity.pdf"
    assert document.size == 11


@pytest.mark.parametrize("content", [b"", b"x" * (documents.LARGEST_DOCUMENT + 1)])
def test_an_empty_or_huge_document_is_refused(component, content):
    error = refused(lambda: a.a_document(component, content))
    assert error.field == "file"
    assert error.remedy


def test_a_document_does_not_run_out_before_it_is_issued(component):
    error = refused(lambda: a.a_document(component, issued_on=date(2026, 2, 1), expires_on=date(2026, 1, 1)))
    assert error.field == "expires_on"


# Instruments


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"range_low": "5000 psi", "range_high": "400 psi"}, "range_high"),
        ({"calibration_due_on": date(2026, 1, 1)}, "calibration_due_on"),
        ({"calibrated_on": date(2026, 5, 1)}, "calibrated_on"),
        ({"chart_hours": "24"}, "chart_hours"),
        ({"kind": "chart-recorder", "chart_hours": 0}, "chart_hours"),
    ],
)
def test_an_instrument_s_figures_are_possible(facts, field):
    assert refused(lambda: a.an_instrument(a.a_rig(), **facts)).field == field


def test_an_instrument_has_a_range():
    assert "range_high" in faults(lambda: a.an_instrument(a.a_rig(), range_high=None))


def test_an_instrument_is_retired_once_and_with_a_reason():
    gauge = a.an_instrument(a.a_rig())
    on = date(2026, 3, 1)
    no_reason = refused(lambda: instruments.retire_instrument(gauge, retired_on=on, reason="", **DEMO))
    assert no_reason.field == "reason"
    instruments.retire_instrument(gauge, retired_on=on, reason="Dropped.", **DEMO)
    assert refused(lambda: instruments.retire_instrument(gauge, retired_on=on, reason="Again.", **DEMO)).reason


@pytest.mark.parametrize(
    ("due", "state", "words"),
    [
        (date(2026, 3, 1), "overdue", "Expired 1 day ago"),
        (date(2026, 3, 2), "due-now", "Expires today"),
        (date(2026, 4, 1), "due-soon", "30 days left"),
        (date(2026, 4, 2), "in-date", "31 days left"),
        (None, "unknown", "No date on file"),
    ],
)
def test_what_runs_out_is_told_in_words(due, state, words):
    found = expiry_on(date(2026, 3, 2), due=due)
    assert (found.state, found.words) == (state, words)
