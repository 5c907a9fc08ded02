"""Of an ordered paper the trail tells that it was ordered and that it was made; how far it is stands with the order."""

import inspect
from datetime import timedelta
from typing import Any

import pytest

from tests.builders import DAY
from tests.builders_tests_app import World
from tests_app.actions import ordered_papers
from tests_app.actions.ordered_papers import make_ordered_paper, order_compliance
from tests_app.models import OrderedPaper, PaperStep
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db
AT = DAY + timedelta(hours=1)


def ordered(world: World) -> OrderedPaper:
    return order_compliance(world.rig, month=f"{DAY:%Y-%m}", paper="a4", by=world.supervisor, at=DAY)


def test_every_action_is_tried_here():
    acting = {
        name
        for name, function in inspect.getmembers(ordered_papers, inspect.isfunction)
        if inspect.unwrap(function).__module__ == ordered_papers.__name__
        and not name.startswith("_")
        and "by" in inspect.signature(function).parameters
    }
    assert acting == {"order_compliance", "make_ordered_paper"}


def test_ordering_is_one_entry_and_ordering_the_same_meanwhile_none(world: World):
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    order = ordered(world)
    (entry,) = TrailEntry.objects.exclude(pk__in=before)
    assert (entry.event, entry.actor, entry.at) == ("paper.ordered", world.supervisor, DAY)
    assert (entry.rig_number, entry.subject_id, entry.subject_label) == (world.rig.pk, order.pk, str(order))
    assert ordered(world) == order
    assert TrailEntry.objects.count() == len(before) + 1


def test_making_is_one_entry_its_steps_write_none_and_making_again_none(world: World, monkeypatch: pytest.MonkeyPatch):
    """Drawing the sheet is tried with its page; here another PDF stands in for it."""
    steps = []

    def drawn(*_: Any, **__: Any) -> bytes:
        steps.append(OrderedPaper.objects.get().step)
        return b"%PDF-1.7"

    order = ordered(world)
    monkeypatch.setattr(ordered_papers, "print_compliance", drawn)
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    for _ in range(2):
        make_ordered_paper(OrderedPaper.objects.get(pk=order.pk), by=world.supervisor, at=AT)
    (entry,) = TrailEntry.objects.exclude(pk__in=before)
    assert steps == [PaperStep.DRAWN]
    assert (entry.event, entry.actor, entry.at) == ("paper.made", world.supervisor, AT)
    assert (entry.rig_number, entry.subject_id) == (world.rig.pk, order.pk)
    assert entry.after == {"sha256": OrderedPaper.objects.get().sha256}


def test_a_paper_that_can_not_be_made_writes_none_and_says_itself_why(world: World, monkeypatch: pytest.MonkeyPatch):
    def broken(*_: Any, **__: Any) -> bytes:
        raise ValueError("no font")

    order = ordered(world)
    monkeypatch.setattr(ordered_papers, "print_compliance", broken)
    before = TrailEntry.objects.count()
    assert make_ordered_paper(order, by=world.supervisor, at=AT).error == "ValueError: no font"
    assert TrailEntry.objects.count() == before
