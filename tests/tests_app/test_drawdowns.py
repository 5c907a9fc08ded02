"""Drawdown tests as recorded: opened on a bank, functions worked, readings taken, and judged by the rules."""

import pytest

from tests.builders_drawdowns import BankWorld, a_bank_world, a_drawdown_draft, a_whole_drawdown, filled
from tests_app.models import Record

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> BankWorld:
    return a_bank_world()


def test_a_draft_keeps_the_bank_as_it_stood(world: BankWorld):
    record = a_drawdown_draft(world)
    kept = Record.objects.get(pk=record.pk).drawdown_test.bank_as_tested
    assert kept["serial"] == world.bank.component.serial
    assert len(kept["bottles"]) == 12
    assert kept["bottles"][0]["pressure"] == {"value": "1000", "unit": "psi"}


def test_the_usual_functions_come_from_the_stack(world: BankWorld):
    record = filled(a_drawdown_draft(world), world)
    functions = list(record.drawdown_functions.order_by("order"))
    assert [one.name for one in functions] == [
        "Annular, close",
        "Upper pipe ram, close",
        "Lower pipe ram, close",
        "Outer choke valve, open",
        "Outer kill valve, open",
    ]
    assert [str(one.volume) for one in functions] == ["15.2 gal", "3.4 gal", "3.6 gal", "0.6 gal", "0.6 gal"]


def test_a_bank_as_its_papers_say_passes(world: BankWorld):
    record = a_whole_drawdown(world)
    assert record.drawdown_test.verdict["reasons"] == []
    assert record.drawdown_test.outcome == "passed"
