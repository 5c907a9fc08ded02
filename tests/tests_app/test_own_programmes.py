"""A rig's own values: each change is the next copy, tests keep theirs, and no copy ever changes."""

from datetime import timedelta

import pytest
from django.db import DatabaseError, transaction

from calcs.rules import Subject, choose
from equipment.errors import NotYours, Refused
from tests import builders
from tests.builders_tests_app import SIGNED, STARTED, World, a_draft, a_sealed_record, a_step
from tests_app import rulebook
from tests_app.actions.own_programmes import change_figure, take_back
from tests_app.actions.programmes import choose_edition
from tests_app.models import Programme, ProgrammeCopy
from tests_app.queries.due_list import due_list
from tests_app.queries.programmes import copy_for, own_figures, programme_of
from tests_app.queries.requirements import edition_of
from trail import entries

pytestmark = pytest.mark.django_db
AT = STARTED - timedelta(days=1)
ANNULAR = choose(rulebook.published("us-ocs"), Subject("annular")).rule.id
WEEK = {"interval": "7 d", "deadline": "midnight"}


def changed(world: World, figure="interval", own=WEEK, *, rule=ANNULAR, **facts):
    facts = {"reason": "Operator's standard", "by": world.supervisor, "at": AT, **facts}
    return change_figure(world.rig, rule=rule, figure=figure, own=own, **facts)


def test_a_stricter_value_is_followed_at_once_and_the_trail_says_why(world: World):
    copy = changed(world)

    assert (copy.number, copy.source, copy.edition) == (1, "us-ocs/2023", f"us-ocs/2023+{copy.pk}")
    assert programme_of(world.rig).edition == copy.edition
    edition = edition_of(world.rig)
    assert str(choose(edition, Subject("annular")).recurrence.interval) == "7 d"
    assert edition.edition.endswith("with the rig's own changes no. 1")
    entry = entries.of_subject(programme_of(world.rig)).first()
    assert (entry.event, entry.reason) == ("programme.figure-changed", "Operator's standard")
    assert entry.after["changes"][0]["source"] == "14 days, to the midnight that ends the last day"


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"own": {"interval": "21 d", "deadline": "midnight"}}, "approval"),
        ({"own": {"interval": "soon", "deadline": "midnight"}}, "own.interval"),
        ({"own": {"interval": "14 d", "deadline": "midnight"}}, "own"),
        ({"rule": "no-such-rule"}, "rule"),
        ({"figure": "precharge-tolerance", "own": "50 psi"}, "figure"),
        ({"figure": "hold", "own": "-5 min", "approval": "Letter 12"}, "own"),
        ({"reason": "  "}, "reason"),
    ],
)
def test_what_can_not_be_followed_is_refused_by_its_field_and_nothing_changes(world: World, facts, field):
    with pytest.raises(Refused) as refused:
        changed(world, **facts)
    assert refused.value.field == field
    assert refused.value.remedy
    assert not ProgrammeCopy.objects.exists()


def test_a_looser_value_is_followed_with_the_reference_of_its_approval(world: World):
    copy = changed(world, own={"interval": "21 d", "deadline": "midnight"}, approval="Letter 12")
    assert copy.changes[0]["approval"] == "Letter 12"
    assert own_figures(programme_of(world.rig))[0].words.endswith("looser, approved under Letter 12")


def test_a_second_change_makes_the_next_copy_and_keeps_the_first(world: World):
    first = changed(world)
    second = changed(world, "hold", "10 min")
    third = changed(world, "hold", "12 min")

    assert [one.number for one in (first, second, third)] == [1, 2, 3]
    assert [len(one.changes) for one in (first, second, third)] == [1, 2, 2]
    with pytest.raises(Refused, match="already"):
        changed(world, "hold", "12 min")


def test_a_test_opened_under_a_copy_is_judged_by_it_for_ever(world: World):
    copy = changed(world, "hold", "10 min")
    draft = a_draft(world)
    assert draft.edition == copy.edition
    step = a_step(draft, world, "Annular")
    assert step.lines.get().hold_seconds == 600

    take_back(world.rig, rule=ANNULAR, figure="hold", reason="Not any more", by=world.supervisor, at=SIGNED)
    later = a_step(draft, world, "Annular", name="Again", side="above")
    assert later.lines.get().hold_seconds == 600
    rule = next(row for row in step.lines.get().rules if "own programme" in row["text"])
    assert "10 min instead of 5 min" in rule["text"]


def test_a_value_taken_back_leaves_the_published_edition_or_the_next_copy(world: World):
    changed(world)
    changed(world, "hold", "10 min")
    take_back(world.rig, rule=ANNULAR, figure="interval", reason="Not any more", by=world.supervisor, at=AT)
    assert [one.figure for one in own_figures(programme_of(world.rig))] == ["hold"]
    take_back(world.rig, rule=ANNULAR, figure="hold", reason="Not any more", by=world.supervisor, at=AT)
    assert programme_of(world.rig).edition == "us-ocs/2023"
    with pytest.raises(Refused, match="no own value"):
        take_back(world.rig, rule=ANNULAR, figure="hold", reason="Again", by=world.supervisor, at=AT)


def test_other_rules_begin_without_own_values_and_the_trail_names_those_left_behind(world: World):
    changed(world, "hold", "10 min")
    choose_edition(world.rig, edition="api53-4", reason="New contract", by=world.supervisor, at=SIGNED)

    programme = programme_of(world.rig)
    assert own_figures(programme) == ()
    (left,) = entries.of_subject(programme).first().after["left_behind"]
    assert "10 min instead of 5 min" in left


def test_nobody_chooses_the_copy_of_another_rig(world: World):
    copy = changed(world)
    other = builders.a_rig()
    with pytest.raises(Refused) as refused:
        choose_edition(other, edition=copy.edition, reason="Like theirs", by=world.supervisor, at=AT)
    assert refused.value.field == "edition"
    with pytest.raises(NotYours):
        copy_for(builders.a_person(rig=other), copy.edition)


@pytest.mark.parametrize("change", [lambda copy: copy.save(), lambda copy: copy.delete()])
def test_no_copy_ever_changes(world: World, change):
    copy = changed(world)
    copy.reason = "Something else"
    with pytest.raises(DatabaseError, match="never changes"), transaction.atomic():
        change(copy)


def test_the_edition_of_a_copy_takes_one_query_however_often_it_is_followed(world: World, django_assert_num_queries):
    copies = [changed(world, "hold", f"{minutes} min") for minutes in (10, 11, 12)]
    with django_assert_num_queries(1):
        found = rulebook.editions_named([*(one.edition for one in copies), "us-ocs/2023", "no-such/1", "us-ocs/2023+0"])
    assert set(found) == {*(one.edition for one in copies), "us-ocs/2023"}


def test_an_own_interval_is_due_sooner_at_once(world: World):
    a_sealed_record(world)
    ram = choose(rulebook.published("us-ocs"), Subject("pipe-ram")).rule.id

    def due():
        return next(item for item in due_list(world.rig, at=SIGNED) if item.key == key).due.due_at

    installation = world.at("Upper pipe ram").installations.get()
    key = f"pressure-test/installation-{installation.pk}"
    before = due()
    changed(world, rule=ram, at=SIGNED)
    assert before - due() == timedelta(days=7)


def test_a_rig_without_rules_has_no_figure_to_change(world: World):
    Programme.objects.filter(rig=world.rig).delete()
    with pytest.raises(Refused, match="No rules are chosen"):
        changed(world)
