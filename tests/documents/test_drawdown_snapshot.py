"""What a signed drawdown or pump test holds is what its report is drawn from, key for key."""

import json
from typing import Any

import pytest

from tests import builders_drawdowns as bank_tests
from tests.documents.test_snapshot import misfits
from tests_app.documents.drawdown_content import DrawdownContent, PumpContent
from tests_app.models import Record

pytestmark = pytest.mark.django_db


def content(record: Record) -> Any:
    return json.loads(record.content)


def test_the_content_of_a_drawdown_has_the_shape_it_is_said_to_have():
    sealed = content(bank_tests.a_sealed_drawdown(bank_tests.a_bank_world()))
    assert misfits(sealed, DrawdownContent) == []


def test_the_content_of_a_subsea_drawdown_has_the_same_shape():
    sealed = content(bank_tests.a_sealed_drawdown(bank_tests.a_subsea_bank_world()))
    assert misfits(sealed, DrawdownContent) == []


def test_the_content_of_a_pump_test_has_the_shape_it_is_said_to_have():
    sealed = content(bank_tests.a_sealed_pump_test(bank_tests.a_bank_world()))
    assert misfits(sealed, PumpContent) == []
