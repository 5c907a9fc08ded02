"""The steps of a record as its sealed content holds them; see `documents.content` for the shapes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from calcs.units import DISPLAY_UNITS, Dimension, System, from_si
from calcs.verdicts import duration_in_words
from equipment.models import Measured, Rig
from tests_app.documents import content as shape
from tests_app.models import Evidence, Line, Outcome, Step
from tests_app.queries.limits import hold_s, low_hold_s
from tests_app.queries.proposals import LooseHold
from tests_app.queries.verdicts import all_notes_of, holds_of

_DECIMALS: Final = 3
"""Decimals of a plotted pressure: a thousandth of a psi or kPa is far under what paper shows."""
_SURENESS: Final[tuple[shape.Confidence, ...]] = ("given", "read", "read-2", "derived", "memory", "memory-low")


@dataclass(frozen=True)
class Local:
    """How the rig reads clocks and gauges: its zone, and its display units."""

    zone: ZoneInfo
    system: System

    @classmethod
    def of(cls, rig: Rig) -> "Local":
        """Return the rig's own."""
        return cls(rig.zone, "si" if rig.display_units == "si" else "us")

    @property
    def pressure_unit(self) -> str:
        """Unit pressures are shown in."""
        return DISPLAY_UNITS[self.system][Dimension.PRESSURE]

    def moment(self, at: datetime) -> shape.Moment:
        """Return a moment in UTC and on the rig's clock, to the second."""
        whole = at.replace(microsecond=0)
        utc = whole.astimezone(UTC).isoformat().replace("+00:00", "Z")
        return {"utc": utc, "local": whole.astimezone(self.zone).isoformat()}

    def clock(self, iso: str | None) -> shape.Moment | None:
        """Return a moment kept as ISO text."""
        return self.moment(datetime.fromisoformat(iso)) if iso else None

    def pressure(self, pascal: float | None) -> shape.Quantity | None:
        """Return a computed gauge pressure in the display unit, unrounded."""
        return self.amount(pascal, Dimension.PRESSURE)

    def amount(self, si: float | None, dimension: Dimension) -> shape.Quantity | None:
        """Return a computed figure of any dimension in the display unit, unrounded."""
        return None if si is None else self.known(si, dimension)

    def known(self, si: float, dimension: Dimension) -> shape.Quantity:
        """Return the same of a figure that is there."""
        unit = DISPLAY_UNITS[self.system][dimension]
        return {"value": from_si(si, unit, dimension), "unit": unit}

    def rate(self, pascal_per_second: float | None) -> shape.Quantity | None:
        """Return a rate of fall in the display unit, per minute."""
        if pascal_per_second is None:
            return None
        unit = DISPLAY_UNITS[self.system][Dimension.PRESSURE_RATE]
        return {"value": from_si(pascal_per_second, unit, Dimension.PRESSURE_RATE), "unit": unit}


def as_entered(measured: Measured | None) -> shape.Quantity | None:
    """Return a quantity with the digits it was entered with."""
    return None if measured is None else {"value": measured.text, "unit": measured.unit}


def step_content(step: Step, *, local: Local, proved_by: Mapping[int, int]) -> shape.StepContent:
    """Return one step; `proved_by` gives the order of the later step that proves a failed line, by line."""
    verdict: Mapping[str, Any] = step.verdict or {"low": None, "high": None, "curve": None}
    typed = list(step.typed_readings.all())
    return {
        "order": step.order,
        "name": step.name,
        "pump_point": step.pump_point,
        "evidence": {"key": step.evidence, "text": step.get_evidence_display()},
        "typed_reason": typed[0].reason if typed else "",
        "recording": step.recording.file_name if step.recording else "",
        "marks": {"proposed": _span(step.proposed_marks), "chosen": _span(step.chosen_marks), "reason": _reason(step)},
        "limits": _limits(step.limits, recorded=step.evidence != Evidence.TYPED),
        "low": _hold(verdict["low"], local),
        "high": _hold(verdict["high"], local),
        "curve": _curve(verdict["curve"], local),
        "outcome": {"key": step.outcome, "text": step.get_outcome_display()},
        "concluded_at": local.moment(step.concluded_at) if step.concluded_at else None,
        "retest_of": step.retest_of.order if step.retest_of else None,
        "retests": sorted(retest.order for retest in step.retests.all()),
        "remarks": step.remarks,
        "notes": all_notes_of(step.verdict),
        "lines": [line_content(line, proved_by.get(line.pk), typed_hold(step)) for line in step.lines.all()],
    }


def open_line(line: Line, step: Step) -> shape.OpenLine:
    """Return a line left failed, and why."""
    return {
        "step": step.order,
        "element": line.component_as_tested["position"],
        "pressure_from": line.get_pressure_from_display(),
        "why": why_failed(line, step),
    }


def why_failed(line: Line, step: Step) -> str:
    """Return in words why a line failed: what its holds lacked, and the leak seen."""
    verdict = step.verdict or {}
    held = holds_of(verdict) if verdict else []
    reasons = [f"{phase.capitalize()} hold: {'; '.join(hold['reasons'])}" for phase, hold in held if hold["reasons"]]
    if line.leak_seen:
        reasons.append(f"Leak seen: {line.leak_description}")
    return ". ".join(reasons)


def typed_hold(step: Step) -> int | None:
    """Return the hold in s that readings typed in are judged by; None where a recording is judged."""
    return int(hold_s(step.limits, recorded=False)) if step.evidence == Evidence.TYPED else None


def line_content(line: Line, proved_by_retest: int | None, typed_hold: int | None) -> shape.LineContent:
    """Return one line; `typed_hold` is the hold in s that readings typed in are judged by, if they are."""
    component = line.component_as_tested
    return {
        "element": component["position"],
        "component": {
            "kind": component["kind_text"],
            "serial": component["serial"],
            "maker": component["maker"],
            "model": component["model"],
            "nominal_bore": component["nominal_bore"],
            "rated_working_pressure": component["rated_working_pressure"],
            "closes_on": component["closes_on"],
        },
        "pressure_from": {"key": line.pressure_from, "text": line.get_pressure_from_display()},
        "required_low_min": as_entered(line.required_low_min),
        "required_low_max": as_entered(line.required_low_max),
        "required_high": _sure(line.required_high),
        "hold_s": max(line.hold_seconds, typed_hold or 0),
        "low_hold_s": line.low_hold_seconds,
        "clause": line.clause,
        "confidence": least_sure(line.rules),
        "working": [*line.working, *_typed_working(line, typed_hold)],
        "leak_seen": line.leak_seen,
        "leak_description": line.leak_description,
        "outcome": {"key": line.outcome, "text": line.get_outcome_display()},
        "proved_by_retest": proved_by_retest if line.outcome == Outcome.FAILED else None,
        "remarks": line.remarks,
    }


def _typed_working(line: Line, typed_hold: int | None) -> list[str]:
    if typed_hold is None or typed_hold <= line.hold_seconds:
        return []
    return [f"Readings typed in, no recorder file: the hold is {duration_in_words(typed_hold)}."]


def least_sure(rules: Sequence[Mapping[str, str]]) -> shape.Confidence:
    """Return the least sure confidence among the rules a line stands on."""
    places = [_SURENESS.index(word) for word in _SURENESS if any(rule["confidence"] == word for rule in rules)]
    return _SURENESS[max(places, default=len(_SURENESS) - 1)]


def _sure(measured: Measured) -> shape.Quantity:
    return {"value": measured.text, "unit": measured.unit}


def _limits(limits: Mapping[str, Any], *, recorded: bool) -> shape.LimitsContent:
    low, high = limits["low"] or {}, limits["high"]
    lasts, low_lasts = hold_s(limits, recorded=recorded), low_hold_s(limits, recorded=recorded)
    return {
        "low_min": low.get("min"),
        "low_max": low.get("max"),
        "restart_above": low.get("restart_above"),
        "high_target": high["target"],
        "high_max": high.get("max"),
        "hold_s": int(lasts),
        "low_hold_s": None if low_lasts is None or low_lasts == lasts else int(low_lasts),
        "max_decay": limits.get("max_decay"),
        "max_gap_s": limits["max_gap"]["value"] if limits.get("max_gap") else None,
    }


def _hold(hold: Mapping[str, Any] | None, local: Local) -> shape.HoldContent | None:
    if hold is None:
        return None
    return {
        "passes": hold["passes"],
        "start_s": hold["start_s"],
        "end_s": hold["end_s"],
        "start_at": local.clock(hold["start_at"]),
        "end_at": local.clock(hold["end_at"]),
        "duration_s": hold["duration_s"],
        "start_pressure": local.pressure(hold["start_pressure"]),
        "end_pressure": local.pressure(hold["end_pressure"]),
        "min_pressure": local.pressure(hold["min_pressure"]),
        "max_pressure": local.pressure(hold["max_pressure"]),
        "decay": local.pressure(hold["decay"]),
        "decay_rate": local.rate(hold["decay_rate"]),
        "highest_before": local.pressure(hold["highest_before"]),
        "reasons": list(hold["reasons"]),
    }


def _curve(curve: Mapping[str, list[float]] | None, local: Local) -> shape.CurveContent | None:
    if curve is None:
        return None
    unit = local.pressure_unit
    pressures = [round(from_si(pascal, unit, Dimension.PRESSURE), _DECIMALS) for pascal in curve["p"]]
    return {"unit": unit, "t": list(curve["t"]), "p": pressures}


def unassigned_hold(hold: LooseHold, local: Local) -> shape.UnassignedHold:
    """Return an attempt found in a file that no step is judged on."""
    return {
        "number": hold.number,
        "file_name": hold.recording.file_name,
        "start_s": hold.start_s,
        "end_s": hold.end_s,
        "start_at": local.moment(hold.start_at) if hold.start_at else None,
        "highest": local.pressure(hold.highest),
        "passes": hold.passes,
        "why": hold.why,
    }


def _reason(step: Step) -> str:
    return str((step.chosen_marks or {}).get("reason", ""))


def _span(marks: Mapping[str, Any] | None) -> list[float] | None:
    return None if marks is None else [marks["start_s"], marks["end_s"]]
