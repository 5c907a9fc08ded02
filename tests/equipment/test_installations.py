"""Which component stands where: refused kindly by the action, and held by the database whoever writes."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction

from equipment.actions.installations import correct_installation, install_component, remove_component
from equipment.errors import Refused
from equipment.models import Installation
from equipment.queries import components, installations, stacks
from tests import builders as a
from trail.actors import System

pytestmark = pytest.mark.django_db

BY = System.DEMO
DAY = a.DAY
HOUR = timedelta(hours=1)


@pytest.fixture
def rig():
    return a.a_rig()


@pytest.fixture
def stack(rig):
    return a.a_stack(rig, positions=(("Upper", "pipe-ram", "bore", ""), ("Lower", "pipe-ram", "bore", "")))


@pytest.fixture
def upper(stack):
    return stack.positions.get(name="Upper")


@pytest.fixture
def lower(stack):
    return stack.positions.get(name="Lower")


def refused(act) -> Refused:
    with pytest.raises(Refused) as caught, transaction.atomic():
        act()
    return caught.value


def install(component, position, when=DAY, at=DAY + 30 * HOUR):
    return install_component(component, position, installed_at=when, by=BY, at=at)


def remove(installation, when, at=DAY + 30 * HOUR):
    return remove_component(installation, removed_at=when, reason="Changed out.", by=BY, at=at)


def test_a_component_stands_in_one_place_at_a_time(rig, upper, lower):
    ram = a.a_component(rig)
    install(ram, upper)
    error = refused(lambda: install(ram, lower, DAY + HOUR))
    assert error.field == "component"
    assert "Upper" in error.reason
    assert "Remove it there first" in error.remedy


def test_a_position_holds_one_component_at_a_time(rig, upper):
    first = install(a.a_component(rig), upper)
    error = refused(lambda: install(a.a_component(rig), upper, DAY + HOUR))
    assert error.field == "position"
    assert first.component.serial in error.reason


def test_a_swap_at_one_moment_belongs_to_the_new_component(rig, upper):
    old, new = a.a_component(rig), a.a_component(rig)
    remove(install(old, upper), DAY + HOUR)
    install(new, upper, DAY + HOUR)
    found = {
        when: stacks.as_installed(upper.stack, at=when)[0].component
        for when in (DAY - HOUR, DAY, DAY + HOUR / 2, DAY + HOUR)
    }
    assert list(found.values()) == [None, old, old, new]


def test_history_before_what_is_on_file_is_refused_with_the_time_in_the_rig_s_zone(rig, upper):
    remove(install(a.a_component(rig), upper), DAY + HOUR)
    error = refused(lambda: install(a.a_component(rig), upper, DAY - HOUR))
    assert error.field == "installed_at"
    assert "2 Mar 2026, 07:00 UTC−6" in error.reason


@pytest.mark.parametrize("when", [DAY, DAY - HOUR])
def test_a_removal_comes_after_the_installation(rig, upper, when):
    installation = install(a.a_component(rig), upper)
    assert refused(lambda: remove(installation, when)).field == "removed_at"


def test_what_has_not_happened_is_not_recorded(rig, upper):
    ram = a.a_component(rig)
    assert refused(lambda: install(ram, upper, DAY + HOUR, at=DAY)).field == "installed_at"
    installation = install(ram, upper)
    assert refused(lambda: remove(installation, DAY + HOUR, at=DAY)).field == "removed_at"


def test_a_removal_has_a_reason_and_happens_once(rig, upper):
    installation = install(a.a_component(rig), upper)
    no_reason = refused(
        lambda: remove_component(installation, removed_at=DAY + HOUR, reason="  ", by=BY, at=DAY + 2 * HOUR)
    )
    assert no_reason.field == "reason"
    remove(installation, DAY + HOUR)
    assert "already" in refused(lambda: remove(installation, DAY + 2 * HOUR)).reason


def test_a_correction_holds_to_the_same_history(rig, upper):
    first = remove(install(a.a_component(rig), upper), DAY + HOUR)
    second = install(a.a_component(rig), upper, DAY + 2 * HOUR)

    def correct(**times):
        facts = {"removed_at": None, "reason": "Mistyped.", "by": BY, "at": DAY + 30 * HOUR, **times}
        return correct_installation(second, **facts)

    assert refused(lambda: correct(installed_at=DAY + HOUR / 2)).field == "installed_at"
    assert refused(lambda: correct(installed_at=DAY + 40 * HOUR)).field == "installed_at"
    assert refused(lambda: correct(installed_at=DAY + HOUR, removed_at=DAY + 3 * HOUR)).field == "removed_at"
    assert refused(lambda: correct(installed_at=DAY + HOUR, reason=" ")).field == "reason"
    assert correct(installed_at=DAY + HOUR).installed_at == first.removed_at


@pytest.mark.parametrize(
    ("component", "part"),
    [
        (lambda rig: a.a_component(rig, "annular"), "takes the kind “Pipe ram”"),
        (lambda rig: a.a_component(a.a_rig()), "another rig"),
    ],
)
def test_only_a_component_that_fits_is_installed(rig, upper, component, part):
    error = refused(lambda: install(component(rig), upper))
    assert error.field == "component"
    assert part in error.reason


def test_a_time_without_zone_is_refused(rig, upper):
    assert "zone" in refused(lambda: install(a.a_component(rig), upper, DAY.replace(tzinfo=None))).reason


def test_components_that_stand_somewhere_or_are_retired_are_not_offered(rig, upper, lower):
    standing, free = a.a_component(rig), a.a_component(rig)
    a.a_component(rig, "annular")
    a.a_component(a.a_rig())
    moved = a.a_component(rig)
    install(standing, upper)
    remove(install(moved, lower), DAY + HOUR)
    assert set(components.installable(lower)) == {free, moved}


def test_where_a_component_has_stood_is_told_latest_first(rig, upper, lower):
    ram = a.a_component(rig)
    remove(install(ram, upper), DAY + HOUR)
    install(ram, lower, DAY + 2 * HOUR)
    assert [one.position.name for one in installations.of_component(ram)] == ["Lower", "Upper"]
    assert installations.place_of(ram, at=DAY + HOUR) is None
    assert installations.place_of(ram, at=DAY).position == upper


# What no code may do: the database itself refuses, on SQLite and on PostgreSQL.


def overlapping(rig, upper, lower, *, same: str) -> Installation:
    """A row that overlaps history in the position or of the component, with a closed end on both sides."""
    ram, other = a.a_component(rig), a.a_component(rig)
    remove(install(ram, upper), DAY + 10 * HOUR)
    place, part = (upper, other) if same == "position" else (lower, ram)
    return Installation(
        component=part, position=place, installed_at=DAY + 5 * HOUR, removed_at=DAY + 6 * HOUR, removal_reason="x"
    )


@pytest.mark.parametrize("same", ["position", "component"])
def test_the_database_refuses_an_overlap_by_save(rig, upper, lower, same):
    row = overlapping(rig, upper, lower, same=same)
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save()


@pytest.mark.parametrize("same", ["position", "component"])
def test_the_database_refuses_an_overlap_by_bulk_create(rig, upper, lower, same):
    row = overlapping(rig, upper, lower, same=same)
    with pytest.raises(IntegrityError), transaction.atomic():
        Installation.objects.bulk_create([row])


@pytest.mark.parametrize("same", ["position", "component"])
def test_the_database_refuses_an_overlap_by_update(rig, upper, lower, same):
    row = overlapping(rig, upper, lower, same=same)
    row.installed_at, row.removed_at = DAY + 10 * HOUR, DAY + 11 * HOUR
    row.save()
    with pytest.raises(IntegrityError), transaction.atomic():
        Installation.objects.filter(pk=row.pk).update(installed_at=DAY + 9 * HOUR)


@pytest.mark.parametrize("same", ["position", "component"])
def test_the_database_refuses_an_overlap_by_plain_sql(rig, upper, lower, same):
    row = overlapping(rig, upper, lower, same=same)
    values = [row.component_id, row.position_id, row.installed_at, row.removed_at]
    if connection.vendor == "sqlite":
        values[2:] = [str(moment.replace(tzinfo=None)) for moment in values[2:]]
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO equipment_installation (component_id, position_id, installed_at, removed_at, removal_reason) "
            "VALUES (%s, %s, %s, %s, 'x')",
            values,
        )


def test_the_database_takes_neighbours_that_meet(rig, upper, lower):
    row = overlapping(rig, upper, lower, same="position")
    row.installed_at, row.removed_at = DAY + 10 * HOUR, None
    row.save()
    assert upper.installations.count() == 2


def test_a_race_lost_to_somebody_else_is_told_as_kindly(rig, upper, lower, monkeypatch):
    """Two people install at once: both pass the check of the action, the database takes the first."""
    monkeypatch.setattr("equipment.actions.installations._check_free", lambda *_: None)
    monkeypatch.setattr("equipment.actions.refusals.refuse_invalid", lambda *_: None)
    ram, other = a.a_component(rig), a.a_component(rig)
    remove(install(ram, upper), DAY + 10 * HOUR)
    error = refused(lambda: install(other, upper, DAY + 5 * HOUR))
    assert (error.field, "this position" in error.reason) == ("installed_at", True)
    error = refused(lambda: install(ram, lower, DAY + 5 * HOUR))
    assert (error.field, "another position" in error.reason) == ("installed_at", True)
