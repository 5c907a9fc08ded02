"""The sealed content of a pump test, copied once from its rows. See `documents.drawdown_content`."""

from collections.abc import Mapping
from typing import Any

from tests_app.documents import drawdown_content as shape
from tests_app.documents.bank_copies import alarms_of, bank_content, recharge_content, rules_content
from tests_app.documents.envelope import envelope_of, file_content
from tests_app.documents.step_copies import Local, as_entered
from tests_app.models import PumpReading, Record
from tests_app.queries.drawdowns import edition_of_record
from tests_app.queries.records import recordings_of


def pump_content(record: Record) -> shape.PumpContent:
    """Return the content of a pump test that is being sealed, from its rows. A constant number of queries."""
    local = Local.of(record.rig)
    test = record.pump_test
    recharges = list(record.recharges.order_by("order"))
    pumps = list(record.pump_readings.order_by("pk"))
    verdict: Mapping[str, Any] = test.verdict or {"passes": False, "reasons": [], "notes": []}
    used = [one.limits["rule_id"] for one in recharges if one.limits]
    used += [limit["rule_id"] for one in pumps for limit in one.limits]
    return {
        **envelope_of(record, local),
        "form": "pump-test/1",
        "passed": bool(test.outcome == "passed"),
        "heading": {
            "reason": {"key": test.reason, "text": test.get_reason_display()},
            "operator": test.operator,
        },
        "bank": bank_content(test.bank_as_tested, local),
        "recharges": [recharge_content(one) for one in recharges],
        "pumps": [_pump(one) for one in pumps],
        "verdict": {
            "passes": verdict["passes"],
            "reasons": list(verdict["reasons"]),
            "notes": list(verdict["notes"]),
        },
        "rules": rules_content(edition_of_record(record), used),
        "alarms": alarms_of(record),
        "files": [file_content(one, (), local) for one in recordings_of(record)],
    }


def _pump(one: PumpReading) -> shape.PumpReadingContent:
    return {
        "pump": one.pump,
        "duty": {"key": one.duty, "text": one.get_duty_display()},
        "drive": {"key": one.drive, "text": one.get_drive_display()},
        "starts_at": as_entered(one.starts_at),
        "stops_at": as_entered(one.stops_at),
        "air_supply": as_entered(one.air_supply),
        "settings": [_setting(limit) for limit in one.limits],
        "outcome": {"key": one.outcome, "text": one.get_outcome_display()},
        "remarks": one.remarks,
    }


def _setting(kept: Mapping[str, Any]) -> shape.SettingContent:
    return {
        "title": kept["title"],
        "clause": kept["clause"],
        "starts_at_least": kept["starts_at_least"],
        "stops_from": kept["stops_from"],
        "stops_to": kept["stops_to"],
        "air_supply": kept["air_supply"],
        "passes": kept["passes"],
        "reasons": list(kept["reasons"]),
        "notes": list(kept["notes"]),
    }
