"""The report of a drawdown and of a pump test as its reader has it, drawn from real seals."""

import io
import json
from typing import Any

import pypdf
import pytest

from tests import builders_drawdowns as bank_tests
from tests_app.documents.certificate import number_of, render, title_of
from tests_app.documents.drawdown_plot import drawdown_plot
from tests_app.models import Record

pytestmark = pytest.mark.django_db

ADDRESS = "https://wellhold.example/verify/x/"


def content(record: Record) -> Any:
    return json.loads(record.content)


def pages(record: Record) -> list[str]:
    reader = pypdf.PdfReader(io.BytesIO(render(content(record), sha256=record.sha256, verify_address=ADDRESS)))
    assert "/StructTreeRoot" in reader.trailer["/Root"]
    return [" ".join(page.extract_text().split()) for page in reader.pages]


def test_a_drawdown_that_passed_shows_its_limit_its_plot_and_what_the_gas_says():
    record = bank_tests.a_sealed_drawdown(bank_tests.a_bank_world())
    printed = pages(record)
    text = " ".join(printed)
    assert title_of(content(record)) == "Report of drawdown test"
    assert number_of(content(record)).endswith("-DD-000001")
    assert "NOT PASSED" not in text.upper()
    assert "At least 1,200 psi" in printed[0]
    assert record.sha256 in printed[0], "the seal stands on the front"
    assert "95 % interval" in text
    assert "These readings fix only the product of precharge and gas volume" in text
    assert text.count("BT-") == 12, "every bottle is listed"


def test_a_drawdown_that_failed_says_so_and_why_and_is_never_called_a_certificate():
    record = bank_tests.a_sealed_drawdown(bank_tests.a_bank_world(), share=1.35)
    printed = pages(record)
    assert "Report of drawdown test NOT PASSED" in printed[0]
    assert all("Report of drawdown test — not passed" in page for page in printed)
    assert "is under the limit, 1,200 psi" in printed[0]
    assert "of the nameplate’s gas" in printed[0], "bottles shut off are named where they can't be overlooked"
    assert "certificate" not in printed[0].lower()


def test_the_plot_names_every_law_and_the_limit_beside_its_line():
    svg = drawdown_plot(content(bank_tests.a_sealed_drawdown(bank_tests.a_bank_world())))
    for words in ("Nitrogen let out at once", "Nitrogen, settled", "Ideal gas, settled", "Read at once", "Limit 1,200"):
        assert f">{words}" in svg


def test_a_pump_test_shows_charging_times_and_settings_against_what_is_asked():
    record = bank_tests.a_sealed_pump_test(bank_tests.a_bank_world())
    printed = pages(record)
    assert number_of(content(record)).endswith("-PU-000001")
    assert "No longer than 15:00 min 10:00 min" in printed[0]
    assert "Started at 2,750 psi, stopped at 3,000 psi" in printed[0]


def test_a_pump_test_too_slow_is_a_report_of_what_did_not_pass():
    world = bank_tests.a_bank_world()
    record = bank_tests.a_whole_pump_test(world, seconds=1100.0)
    bank_tests.signed(record, world)
    record.refresh_from_db()
    assert "Report of pump test NOT PASSED" in pages(record)[0]
