"""The sealed content of a drawdown test, copied once from its rows. See `documents.drawdown_content`."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from calcs.units import DISPLAY_UNITS, Dimension, from_si
from tests_app.documents import drawdown_content as shape
from tests_app.documents.bank_copies import (
    alarms_of,
    bank_content,
    functions_read_from,
    recharge_content,
    rules_content,
)
from tests_app.documents.envelope import choice, envelope_of, file_content, section_content
from tests_app.documents.step_copies import Local, as_entered
from tests_app.models import DrawdownFunction, DrawdownTest, GasState, Recharge, Record
from tests_app.queries.drawdowns import Comparison, ComparisonRow, comparison_of, edition_of_record, functions_of
from tests_app.queries.records import recordings_of

_PLACES = 3
"""Decimals of a plotted figure: far under what paper shows."""


def drawdown_content(record: Record) -> shape.DrawdownContent:
    """Return the content of a drawdown that is being sealed, from its rows. A constant number of queries."""
    local = Local.of(record.rig)
    test = record.drawdown_test
    comparison = comparison_of(record)
    functions = list(functions_of(record))
    recharges = list(record.recharges.order_by("order"))
    verdict: Mapping[str, Any] = test.verdict or {}
    proposals = [(one.order, one.proposed) for one in functions]
    return {
        **envelope_of(record, local),
        "form": "drawdown-test/1",
        "passed": bool(test.outcome == "passed"),
        "section": section_content(record.section),
        "heading": _heading(test),
        "bank": bank_content(test.bank_as_tested, local),
        "bottles_in_service": comparison.bottles,
        "gas_volume": local.known(comparison.gas_volume, Dimension.VOLUME),
        "functions": _functions(functions, comparison, verdict, local),
        "curves": _curves(comparison, local),
        "verdict": _verdict(verdict),
        "fit": _fit(verdict["fit"], verdict["judged_state"]),
        "fit_refused": "" if verdict["fit"] else verdict["fit_refused"],
        "other_fits": [_known_fit(one["fit"], one["state"]) for one in verdict["other_fits"] if one["fit"]],
        "sentence": verdict["sentence"],
        "warnings": list(verdict["warnings"]),
        "recharges": [recharge_content(one) for one in recharges],
        "rules": rules_content(edition_of_record(record), _used(comparison, functions, recharges)),
        "alarms": alarms_of(record),
        "files": [file_content(one, functions_read_from(one, proposals), local) for one in recordings_of(record)],
    }


def _heading(test: DrawdownTest) -> shape.DrawdownHeadingContent:
    return {
        "reason": {"key": test.reason, "text": test.get_reason_display()},
        "control_station": choice({"key": test.control_station, "text": test.get_control_station_display()}),
        "pod": choice({"key": test.pod, "text": test.get_pod_display()}),
        "pipe_in_hole": as_entered(test.pipe_in_hole),
        "operator": test.operator,
        "gas_temperature": as_entered(test.gas_temperature),
        "start_pressure": as_entered(test.start_pressure),
        "start_settled": test.start_settled,
        "electric_pumps_isolated": test.electric_pumps_isolated,
        "air_pumps_isolated": test.air_pumps_isolated,
        "isolation_confirmed_by": test.isolation_confirmed_by,
        "wait_s": test.wait_seconds,
        "judged": {"key": test.judged_state, "text": test.get_judged_state_display()},
    }


def _functions(
    functions: Sequence[DrawdownFunction], comparison: Comparison, verdict: Mapping[str, Any], local: Local
) -> list[shape.FunctionContent]:
    rows = {row.order: row for row in comparison.rows}
    reasons = verdict.get("reasons", [])
    return [_function(one, rows[one.order], _own(one, reasons), local) for one in functions]


def _predicted(row: ComparisonRow, local: Local) -> shape.Predicted:
    return {
        "cold": local.pressure(row.cold),
        "warm": local.pressure(row.warm),
        "ideal": local.pressure(row.ideal),
        "difference_at_once": local.pressure(row.difference_at_once),
        "difference_settled": local.pressure(row.difference_settled),
    }


def _function(one: DrawdownFunction, row: ComparisonRow, reasons: list[str], local: Local) -> shape.FunctionContent:
    component = one.component_as_tested
    return {
        "order": one.order,
        "name": one.name,
        "movement": {"key": one.movement, "text": one.get_movement_display()},
        "position": component["position"] if component else "",
        "component": _component(component) if component else None,
        "volume": {"value": one.volume.text, "unit": one.volume.unit},
        "volume_from": {"key": one.volume_from, "text": one.get_volume_from_display()},
        "drawn": local.known(row.drawn, Dimension.VOLUME),
        "limit": _limit(one.limits),
        "seconds": one.seconds,
        "minimum_pressure": as_entered(one.minimum_pressure),
        "minimum_working": list(one.minimum_working),
        "pressure_at_once": as_entered(one.pressure_at_once),
        "pressure_settled": as_entered(one.pressure_settled),
        **_predicted(row, local),
        "reasons": reasons,
        "remarks": one.remarks,
    }


def _own(function: DrawdownFunction, reasons: Iterable[str]) -> list[str]:
    """Return the verdict's reasons that are about this function; they begin with its number and name."""
    begin = f"{function.order}. {function.name}: "
    return [reason.removeprefix(begin) for reason in reasons if reason.startswith(begin)]


def _component(kept: Mapping[str, Any]) -> Any:
    names = ("serial", "maker", "model", "nominal_bore", "rated_working_pressure", "closes_on")
    return {"kind": kept["kind_text"], **{name: kept[name] for name in names}}


def _limit(kept: Mapping[str, Any]) -> shape.TimeLimitContent | None:
    if not kept:
        return None
    return {
        "within_s": kept["within_s"],
        "as_fast_as_rams": kept["as_fast_as_rams"],
        "clause": kept["clause"],
        "confidence": kept["confidence"],
        "note": kept["note"],
    }


def _curves(comparison: Comparison, local: Local) -> shape.CurvesContent:
    cold, warm, ideal = (_curve(comparison.curves.get(law, ()), local) for law in shape.GAS_LAWS)
    units = DISPLAY_UNITS[local.system]
    return {
        "volume_unit": units[Dimension.VOLUME],
        "pressure_unit": units[Dimension.PRESSURE],
        "cold": cold,
        "warm": warm,
        "ideal": ideal,
    }


def _curve(points: Sequence[tuple[float, float]], local: Local) -> shape.PredictedCurve:
    units = DISPLAY_UNITS[local.system]
    volume, pressure = units[Dimension.VOLUME], units[Dimension.PRESSURE]
    return {
        "drawn": [round(from_si(drawn, volume, Dimension.VOLUME), _PLACES) for drawn, _ in points],
        "pressure": [round(from_si(gauge, pressure, Dimension.PRESSURE), _PLACES) for _, gauge in points],
    }


def _verdict(kept: Mapping[str, Any]) -> shape.DrawdownVerdictContent:
    precharge = kept["precharge"]
    rule = kept["rule"] or {"functions": ""}
    return {
        "passes": kept["passes"],
        "final": kept["final"],
        "limit": kept["limit"],
        "margin": kept["margin"],
        "reasons": [*kept["reasons"], *kept.get("recharge_reasons", ())],
        "notes": list(kept["notes"]),
        "working": list(kept["working"]),
        "clause": kept["clause"],
        "confidence": kept["confidence"] or None,
        "precharge": {
            "measured": precharge["measured"],
            "design": precharge["design"],
            "in_band": precharge["in_band"],
            "tolerance": precharge["tolerance"],
            "tolerance_source": precharge["tolerance_source"],
        },
        "functions_asked": rule["functions"],
    }


def _fit(kept: Mapping[str, Any] | None, state: str) -> shape.FitContent | None:
    return None if kept is None else _known_fit(kept, state)


def _known_fit(kept: Mapping[str, Any], state: str) -> shape.FitContent:
    return {
        "state": {"key": state, "text": GasState(state).label},
        "law": kept["model_words"],
        "found": kept["verdict"],
        "gas_charge_ratio": kept["gas_charge_ratio"],
        "bottles": kept["bottles_if_precharge_right"],
        "bottles_standing": kept["bottles"],
        "told_apart": kept["told_apart"],
    }


def _used(comparison: Comparison, functions: Iterable[DrawdownFunction], recharges: Iterable[Recharge]) -> set[str]:
    """Return the names of the rules the test was judged by."""
    named = {rule.id for rule in (comparison.rule, comparison.precharge_rule) if rule is not None}
    of_functions = {name.strip() for one in functions for name in one.limits.get("rule_id", "").split(",")}
    return named | of_functions | {one.limits["rule_id"] for one in recharges if one.limits}
