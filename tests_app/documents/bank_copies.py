"""Bank, bottles and timed chargings of a record as its sealed content holds them; see `documents.drawdown_content`."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from calcs.rules import BankRule, Edition
from tests_app.documents import content as base
from tests_app.documents import drawdown_content as shape
from tests_app.documents.envelope import instrument_content
from tests_app.documents.step_copies import Local
from tests_app.models import Recharge, Record, Recording
from tests_app.queries.banks_tested import BottleTested, read_copy
from tests_app.queries.open_points import open_points

_PLAIN: Final = (
    "serial",
    "maker",
    "model",
    "depth",
    "control_fluid_gradient",
    "seawater_gradient",
    "design_precharge",
    "reference_temperature",
    "charged_pressure",
    "minimum_operating_pressure",
    "precharge_tolerance",
    "tolerance_source",
)
_CHOICES: Final = ("purpose", "location", "precharge_basis")
_BOTTLE: Final = (
    "number",
    "serial",
    "shell_volume",
    "gas_volume",
    "state_reason",
    "shell_tested_on",
    "shell_test_due_on",
    "pressure",
    "gas_temperature",
)
_TOLD_ELSEWHERE: Final = ("instruments", "recharge-")
"""Open points the paper tells in its own place: calibration beside the instruments, a charging in its row."""


def bank_content(kept: Mapping[str, Any], local: Local) -> shape.BankContent:
    """Return the bank from the copy its record keeps."""
    tested = read_copy(kept).bottles
    whole: Any = {
        **{name: kept[name] for name in _PLAIN},
        **{
            name: {"key": kept[name], "text": kept[f"{name}_text"]}
            for name in ("purpose", "location", "precharge_basis")
        },
        "bottles": [_bottle(one, found, local) for one, found in zip(kept["bottles"], tested, strict=True)],
        "precharge_round": _round(kept["precharge_round"], local),
    }
    bank: shape.BankContent = whole
    return bank


def _bottle(kept: Mapping[str, Any], found: BottleTested, local: Local) -> dict[str, Any]:
    return {
        **{name: kept[name] for name in _BOTTLE},
        "state": {"key": kept["state"], "text": kept["state_text"]},
        "at_reference": local.pressure(found.at_reference),
        "deviation": local.pressure(found.deviation),
    }


def _round(kept: Mapping[str, Any] | None, local: Local) -> shape.RoundContent | None:
    if kept is None:
        return None
    taken_at = datetime.fromisoformat(kept["taken_at"])
    return {
        "taken_at": local.moment(taken_at),
        "taken_by": kept["taken_by"],
        "instrument": instrument_content(kept["instrument"], taken_at.astimezone(local.zone).date()),
        "remarks": kept["remarks"],
    }


def recharge_content(one: Recharge) -> shape.RechargeContent:
    """Return a timed charging with what the rule made of it."""
    verdict = one.verdict or {"reasons": [], "notes": [], "within_s": None, "clause": "", "covers": False}
    return {
        "order": one.order,
        "pumps": {"key": one.pumps, "text": one.get_pumps_display()},
        "pump_out": one.pump_out,
        "from_pressure": {"value": one.from_pressure.text, "unit": one.from_pressure.unit},
        "to_pressure": {"value": one.to_pressure.text, "unit": one.to_pressure.unit},
        "seconds": one.seconds,
        "within_s": verdict["within_s"],
        "clause": verdict["clause"],
        "covers": bool(verdict["covers"]),
        "outcome": {"key": one.outcome, "text": one.get_outcome_display()},
        "reasons": list(verdict["reasons"]),
        "notes": list(verdict["notes"]),
        "remarks": one.remarks,
    }


def rules_content(edition: Edition, used: Iterable[str]) -> list[base.RuleContent]:
    """Return the edition's rules of these names, each once, in the order of their clauses."""
    wanted = set(used)
    found: Any = [
        {"clause": rule.clause, "text": _text(rule), "confidence": rule.confidence.value}
        for rule in sorted(edition.bank_rules, key=lambda rule: (rule.clause, rule.id))
        if rule.id in wanted
    ]
    rules: list[base.RuleContent] = found
    return rules


def _text(rule: BankRule) -> str:
    title = rule.title if rule.title.endswith(".") else f"{rule.title}."
    return " ".join(filter(None, (title, rule.note)))


def alarms_of(record: Record) -> list[str]:
    """Return what does not keep the record from being signed and must not be overlooked."""
    return [
        point.reason for point in open_points(record) if not (point.blocks or point.field.startswith(_TOLD_ELSEWHERE))
    ]


def functions_read_from(recording: Recording, proposals: Sequence[tuple[int, Mapping[str, Any] | None]]) -> list[int]:
    """Return the orders of the functions whose readings were found in a file."""
    return [order for order, proposed in proposals if proposed and proposed.get("recording") == recording.pk]
