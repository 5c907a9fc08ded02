"""Bringing in: one entry of each act on a file or a past test; trying out leaves none, and each row brought in its own.

What a trial finds stands with the file, which is tried as often as somebody likes.
"""

import inspect
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest

from accounts.models import User
from equipment.models import Component, Rig
from tests import builders
from tests.builders import DAY
from tests.kept import Keep
from tests_app.actions import bringing_in, brought_tests
from tests_app.models import BroughtFile, BroughtTest, FileState, SheetKind
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db

Prepared = tuple[tuple[Any, ...], dict[str, Any]]
HOUR = timedelta(hours=1)
AT = DAY + HOUR
HEADS = "Kind,Serial number,Maker\n"
TWO_RAMS = f"{HEADS}Pipe ram,PR-1,\nPipe ram,PR-2,\n"


@dataclass(frozen=True)
class Yard:
    """A rig with one ram on file, and who brings in what is known of it."""

    rig: Rig
    ram: Component
    person: User


def a_yard() -> Yard:
    rig = builders.a_rig()
    return Yard(rig, builders.a_component(rig, serial="PR-9"), builders.a_person(rig=rig))


@pytest.fixture(scope="module")
def kept_yard(keep: Keep) -> Yard:
    return keep(a_yard)


@pytest.fixture
def yard(kept_yard: Yard, db: None) -> Yard:
    return deepcopy(kept_yard)


def sheet_of_rams(yard: Yard, content: str = TWO_RAMS) -> Prepared:
    return (yard.rig,), {"sheet": SheetKind.COMPONENTS, "name": "rams.csv", "content": content.encode()}


def received(yard: Yard, content: str = TWO_RAMS) -> BroughtFile:
    (rig,), facts = sheet_of_rams(yard, content)
    return bringing_in.receive_file(rig, **facts, by=yard.person, at=DAY)


def tried(yard: Yard) -> BroughtFile:
    return bringing_in.try_out(received(yard), by=yard.person, at=DAY)


def confirmed(yard: Yard) -> BroughtFile:
    return bringing_in.confirm_file(tried(yard), by=yard.person, at=DAY)


def past_test(yard: Yard) -> Prepared:
    ended = DAY - HOUR
    facts = {"what": "pressure-test", "pressure_from": "below", "started_at": ended - HOUR, "concluded_at": ended}
    who = {"tested_by": "Rolf Anders", "certificate_number": "PT-1"}
    return (yard.ram,), {**facts, **who, "passed": True, "high_pressure": "10050 psi"}


def a_past_test(yard: Yard) -> BroughtTest:
    (ram,), facts = past_test(yard)
    return brought_tests.bring_in_test(ram, **facts, by=yard.person, at=DAY)


CASES: dict[str, tuple[str, Callable[[Yard], Prepared]]] = {
    "receive_file": ("brought-file.received", sheet_of_rams),
    "confirm_file": ("brought-file.confirmed", lambda yard: ((tried(yard),), {})),
    "try_again": ("brought-file.tried-again", lambda yard: ((tried(yard),), {})),
    "set_aside_file": ("brought-file.set-aside", lambda yard: ((tried(yard),), {})),
    "bring_in_test": ("past-test.brought-in", past_test),
    "confirm_test": ("past-test.confirmed", lambda yard: ((a_past_test(yard),), {"reference": "PT-1, in the office"})),
    "withdraw_test": ("past-test.withdrawn", lambda yard: ((a_past_test(yard),), {"reason": "Another ram's."})),
}
OF_ROWS = {"try_out", "bring_in"}
"""What goes through a file row by row; each is tried by name below."""
ACTIONS = {
    name: function
    for module in (bringing_in, brought_tests)
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if inspect.unwrap(function).__module__ == module.__name__
    and not name.startswith("_")
    and "by" in inspect.signature(function).parameters
}


def test_every_action_is_tried():
    assert set(ACTIONS) == set(CASES) | OF_ROWS


@pytest.mark.parametrize("name", sorted(CASES))
def test_an_act_on_a_file_or_a_past_test_is_one_entry(yard: Yard, name: str):
    event, prepare = CASES[name]
    arguments, facts = prepare(yard)
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    subject = ACTIONS[name](*arguments, **facts, by=yard.person, at=AT)
    (entry,) = TrailEntry.objects.exclude(pk__in=before)
    assert (entry.event, entry.actor, entry.at) == (event, yard.person, AT)
    assert entry.rig_number == yard.rig.pk
    assert (entry.subject_type, entry.subject_id) == (subject._meta.label_lower, subject.pk)
    assert entry.subject_label == str(subject)


def test_trying_out_writes_none_since_it_changes_nothing(yard: Yard):
    file = received(yard)
    before = TrailEntry.objects.count()
    assert bringing_in.try_out(file, by=yard.person, at=AT).state == FileState.TRIED
    assert TrailEntry.objects.count() == before


def test_bringing_in_is_one_entry_of_the_file_and_one_of_each_row_as_if_entered_by_hand(yard: Yard):
    file = confirmed(yard)
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    bringing_in.bring_in(file, by=yard.person, at=AT)
    written = TrailEntry.objects.exclude(pk__in=before).order_by("pk")
    assert [entry.event for entry in written] == ["component.registered"] * 2 + ["brought-file.brought-in"]
    assert {(entry.actor, entry.at, entry.rig_number) for entry in written} == {(yard.person, AT, yard.rig.pk)}
    assert (written[2].subject_id, written[2].after["sha256"]) == (file.pk, file.sha256)


def test_bringing_in_once_more_or_with_a_row_refused_by_now_writes_none(yard: Yard):
    done = bringing_in.bring_in(confirmed(yard), by=yard.person, at=DAY)
    other = received(yard, f"{HEADS}Pipe ram,PR-3,\nPipe ram,PR-4,\n")
    refused = bringing_in.confirm_file(bringing_in.try_out(other, by=yard.person, at=DAY), by=yard.person, at=DAY)
    builders.a_component(yard.rig, serial="PR-4", maker="Another")
    before = TrailEntry.objects.count()
    bringing_in.bring_in(done, by=yard.person, at=AT)
    assert bringing_in.bring_in(refused, by=yard.person, at=AT).state == FileState.TRIED
    assert TrailEntry.objects.count() == before
