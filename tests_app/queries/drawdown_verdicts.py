"""What a drawdown, a charging and a pump came to, as plain JSON kept on their rows: pages and papers read these."""

from collections.abc import Iterable
from typing import Any

from calcs import drawdown_words
from calcs.bank_rules import PumpSettingRule, ResponseLimit
from calcs.drawdown import DrawdownFit, Estimate
from calcs.drawdown_verdict import DrawdownVerdict, PumpVerdict, RechargeVerdict
from calcs.units import Dimension, System, shown
from tests_app.queries.drawdowns import Comparison, ComparisonRow, SeriesFit

Kept = dict[str, Any]


def kept(si: float | None, dimension: Dimension, system: System) -> Kept | None:
    """Return a figure worked out, in the rig's unit, to far under what any gauge shows; None for none."""
    if si is None:
        return None
    quantity = shown(si, dimension, system)
    return {"value": round(quantity.value, 6), "unit": quantity.unit}


def of_drawdown(comparison: Comparison, system: System) -> Kept:
    """Return the whole of what a drawdown showed: verdict, precharge, measured beside predicted, and the fit."""
    verdict, rule = comparison.verdict, comparison.rule
    return {
        **_of_verdict(verdict, system, refused=comparison.verdict_refused),
        "judged_state": comparison.judged,
        "rule": None
        if rule is None
        else {"id": rule.id, "title": rule.title, "functions": rule.functions, "note": rule.note},
        "precharge": {
            "measured": kept(comparison.precharge_measured, Dimension.PRESSURE, system),
            "design": kept(comparison.precharge_design, Dimension.PRESSURE, system),
            "in_band": comparison.precharge_in_band,
            "tolerance": kept(comparison.tolerance, Dimension.PRESSURE, system),
            "tolerance_source": _tolerance_source(comparison),
        },
        "gas_volume": kept(comparison.gas_volume, Dimension.VOLUME, system),
        "gas_temperature": kept(comparison.temperature, Dimension.TEMPERATURE, system),
        "bottles_in_service": comparison.bottles,
        "bottles_standing": comparison.bottles_standing,
        "subsea": comparison.bank.is_subsea,
        "rows": [_of_row(row, system) for row in comparison.rows],
        "fit": None if comparison.fit is None else _of_fit(comparison.fit, system),
        "fit_refused": comparison.fit_refused,
        "other_fits": [_of_series(one, system) for one in comparison.fits if one.state != comparison.judged],
        "sentence": comparison.sentence,
        "warnings": list(comparison.warnings),
    }


def _of_verdict(verdict: DrawdownVerdict | None, system: System, *, refused: str) -> Kept:
    if verdict is None:
        return {
            "passes": False,
            "final": None,
            "limit": None,
            "margin": None,
            "reasons": [refused],
            "notes": [],
            "working": [],
            "clause": "",
            "confidence": "",
        }
    return {
        "passes": verdict.passes,
        "final": kept(verdict.final, Dimension.PRESSURE, system),
        "limit": kept(verdict.limit, Dimension.PRESSURE, system),
        "margin": kept(verdict.margin, Dimension.PRESSURE, system),
        "reasons": list(verdict.reasons),
        "notes": list(verdict.notes),
        "working": [step.line(system) for step in verdict.working],
        "clause": verdict.clause,
        "confidence": verdict.confidence.value if verdict.confidence else "",
    }


def _tolerance_source(comparison: Comparison) -> str:
    if comparison.bank.tolerance is not None:
        return comparison.bank.tolerance_source
    return comparison.precharge_rule.clause if comparison.precharge_rule else ""


def _of_row(row: ComparisonRow, system: System) -> Kept:
    pressures = {
        name: kept(getattr(row, name), Dimension.PRESSURE, system)
        for name in ("at_once", "settled", "cold", "warm", "ideal", "difference_at_once", "difference_settled")
    }
    volumes = {name: kept(getattr(row, name), Dimension.VOLUME, system) for name in ("volume", "drawn")}
    return {"order": row.order, "name": row.name, **volumes, **pressures}


def _of_series(series: SeriesFit, system: System) -> Kept:
    return {
        "state": series.state,
        "model": series.model.value,
        "fit": None if series.fit is None else _of_fit(series.fit, system),
        "refused": series.refused,
    }


def _of_fit(fit: DrawdownFit, system: System) -> Kept:
    lack = fit.lack_of_fit
    return {
        "model": fit.test.model.value,
        "model_words": fit.test.model.words,
        "verdict": drawdown_words.verdict(fit),
        "gas_charge_ratio": _plain(fit.gas_charge_ratio),
        "bottles_if_precharge_right": _plain(fit.bottles_if_precharge_right),
        "precharge_if_all_bottles": {
            name: kept(getattr(fit.precharge_if_all_bottles, name), Dimension.PRESSURE, system)
            for name in ("value", "low", "high")
        },
        "told_apart": fit.told_apart,
        "bottles": fit.test.nameplate.count,
        "lack_of_fit": "" if lack is None else drawdown_words.lack_in_words(lack),
        "by_model": [{"model": one.model.value, "gas_charge_ratio": one.gas_charge_ratio} for one in fit.by_model],
    }


def _plain(estimate: Estimate) -> Kept:
    return {"value": estimate.value, "low": estimate.low, "high": estimate.high}


def of_limit(limit: ResponseLimit | None) -> Kept:
    """Return the time a function is allowed, as kept on it; empty where no rule speaks of it."""
    if limit is None:
        return {}
    return {
        "within_s": limit.within,
        "as_fast_as_rams": limit.as_fast_as_rams,
        "rule_id": limit.rule_id,
        "clause": limit.clause,
        "confidence": limit.confidence.value,
        "note": limit.note,
    }


def of_recharge(verdict: RechargeVerdict, *, passes: bool, judges_coverage: bool) -> Kept:
    """Return what a charging came to; what falls short of the rule's whole way is a note where that is not judged."""
    return {
        "passes": passes,
        "in_time": verdict.in_time,
        "covers": verdict.covers,
        "judges_coverage": judges_coverage,
        "reasons": list(verdict.reasons),
        "notes": list(verdict.notes),
        "clause": verdict.clause,
        "within_s": verdict.within,
        "confidence": verdict.confidence.value if verdict.confidence else "",
    }


def of_pump(rule: PumpSettingRule, verdict: PumpVerdict, system: System) -> Kept:
    """Return what one rule asks of a pump, and whether it was shown."""
    limits = {
        "starts_at_least": verdict.starts_at_least,
        "stops_from": verdict.stops_from,
        "stops_to": verdict.stops_to,
        "air_supply": rule.air_supply,
    }
    return {
        "rule_id": rule.id,
        "title": rule.title,
        "clause": verdict.clause,
        "confidence": rule.confidence.value,
        **{name: kept(pressure, Dimension.PRESSURE, system) for name, pressure in limits.items()},
        "passes": verdict.passes,
        "reasons": list(verdict.reasons),
        "notes": list(verdict.notes),
    }


def reasons_of(limits: Iterable[Kept]) -> list[str]:
    """Return why a pump's settings are not as asked, each once."""
    return list(dict.fromkeys(reason for one in limits for reason in one["reasons"]))
