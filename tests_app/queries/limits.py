"""What a step is judged by: the limits of all its elements together, in the units they are written in.

One hold proves every line of a step, so its low band lies in the band of each, its high pressure is the
highest any of them needs, and no part it reaches may be rated under that.
"""

from collections.abc import Mapping, Sequence
from math import ceil
from typing import Any, Final

from calcs.holds import OVER_RATING, HoldRule
from calcs.units import Dimension, Quantity, System, to_si
from calcs.working import Amount
from equipment.errors import Refused
from tests_app.models import PressureFrom
from tests_app.queries.copies import in_round_unit
from tests_app.queries.line_ups import PREVENTERS
from tests_app.queries.requirements import OWN_RWP, Need

_TOLERANCE: Final = 1e-9
"""Relative; room for the conversion of units."""


def limits_of(needs: Sequence[Need]) -> dict[str, Any]:
    """Return the limits of a step that proves `needs` in one hold, as they are kept on it.

    Raises Refused naming `lines` when one hold cannot prove them all, saying which two stand against each other.
    """
    if not needs:
        raise Refused("lines", "A step proves at least one element.", "Choose the elements this line-up proves.")
    _refuse_hidden_preventers(needs)
    low = _low_band(needs)
    target = _high_target(needs)
    rating = min(part.limit_gauge for need in needs for part in need.parts)
    return {
        "low": None if low is None else {name: written(figure, needs) for name, figure in low.items()},
        "high": {
            "target": written(target, needs),
            "max": written(rating * (1 + OVER_RATING), needs),
            "rating": written(rating, needs),
        },
        "hold": {"value": ceil(max(need.required.hold for need in needs)), "unit": "s"},
        "hold_unrecorded": {"value": ceil(max(need.hold_unrecorded for need in needs)), "unit": "s"},
        **_low_holds(needs),
    }


def _low_holds(needs: Sequence[Need]) -> dict[str, Any]:
    """Return how long the low hold lasts, where that is another time than the high one's."""
    kept = {}
    for name, lasting in (("low_hold", False), ("low_hold_unrecorded", True)):
        lows = [need.low_hold_unrecorded if lasting else need.required.low_hold for need in needs]
        low = ceil(max((one for one in lows if one is not None), default=0))
        if low and low != ceil(max(need.hold_unrecorded if lasting else need.required.hold for need in needs)):
            kept[name] = {"value": low, "unit": "s"}
    return kept


def _refuse_hidden_preventers(needs: Sequence[Need]) -> None:
    """Refuse two preventers pressed on from below at once: what stands over the lowest closed one is not proved."""
    closed = [need for need in needs if need.standing.component and need.standing.component.kind in PREVENTERS]
    from_below = [need.standing.position.name for need in closed if need.pressure_from == PressureFrom.BELOW]
    if len(from_below) > 1:
        raise Refused(
            "lines",
            f"{' and '.join(from_below)} cannot be proved by one hold from below: the lowest one closed holds the "
            "pressure off the others.",
            "Prove each in a step of its own.",
        )


def written(pressure: float, needs: Sequence[Need]) -> dict[str, Any]:
    """Return a limit as value and unit, in psi, kPa or a component's own unit, whichever makes it a round number."""
    own = [need.standing.component.rated_working_pressure.unit for need in needs if need.standing.component]
    limit = in_round_unit(pressure, Dimension.PRESSURE, "psi", *own, "kPa")
    return {"value": limit.value, "unit": limit.unit}


def hold_rule(limits: Mapping[str, Any], *, recorded: bool = True) -> HoldRule:
    """Return the rule the kept limits stand for; unrecorded holds take the full time."""
    low, high = limits["low"], limits["high"]
    return HoldRule(
        low_min=_pressure(low["min"]) if low else None,
        low_max=_pressure(low["max"]) if low else None,
        restart_above=_pressure(low["restart_above"]) if low else None,
        low_hold_s=low_hold_s(limits, recorded=recorded),
        high_target=_pressure(high["target"]),
        high_max=_pressure(high["max"]) if high.get("max") else None,
        hold_s=hold_s(limits, recorded=recorded),
        max_decay=_pressure(limits["max_decay"]) if limits.get("max_decay") else None,
        rating=_pressure(high["rating"]) if high.get("rating") else None,
        max_gap_s=to_si(**limits["max_gap"], dimension=Dimension.TIME) if limits.get("max_gap") else None,
    )


def hold_s(limits: Mapping[str, Any], *, recorded: bool) -> float:
    """Return how long the high hold lasts, s: what is judged, and so what every page and paper says."""
    hold = limits["hold"] if recorded else limits.get("hold_unrecorded", limits["hold"])
    return to_si(hold["value"], hold["unit"], Dimension.TIME)


def low_hold_s(limits: Mapping[str, Any], *, recorded: bool) -> float | None:
    """Return how long the low hold lasts, s; None where no low test is asked."""
    if not limits.get("low"):
        return None
    hold = limits.get("low_hold" if recorded else "low_hold_unrecorded")
    return to_si(hold["value"], hold["unit"], Dimension.TIME) if hold else hold_s(limits, recorded=recorded)


def quantity_of(limit: Mapping[str, Any]) -> Quantity:
    """Return a kept limit as a quantity."""
    return Quantity(float(limit["value"]), limit["unit"])


def _pressure(limit: Mapping[str, Any]) -> float:
    return to_si(float(limit["value"]), limit["unit"], Dimension.PRESSURE)


def _low_band(needs: Sequence[Need]) -> dict[str, float] | None:
    """Return the band that lies in that of every element a low test is asked of; None where it is asked of none."""
    bands = [(need, need.required.low) for need in needs if need.required.low is not None]
    if not bands:
        return None
    highest_need, highest = max(bands, key=lambda one: one[1].min_gauge)
    lowest_need, lowest = min(bands, key=lambda one: one[1].max_gauge)
    if highest.min_gauge > lowest.max_gauge * (1 + _TOLERANCE):
        raise Refused(
            "lines",
            f"{_name(highest_need)} needs a low test of at least {_said(highest.min_gauge, needs)}, but "
            f"{_name(lowest_need)} of at most {_said(lowest.max_gauge, needs)}: no hold lies in both.",
            f"Test {_name(lowest_need)} in a step of its own.",
        )
    restart = min(band.restart_above_gauge for _, band in bands)
    return {"min": highest.min_gauge, "max": lowest.max_gauge, "restart_above": restart}


def _high_target(needs: Sequence[Need]) -> float:
    """Return the highest pressure any line needs; refused when a part it reaches is rated under it."""
    highest = max(needs, key=lambda need: need.required.high_gauge)
    target = highest.required.high_gauge
    parts = [(need, part) for need in needs for part in need.parts]
    need, weakest = min(parts, key=lambda one: one[1].limit_gauge)
    if target > weakest.limit_gauge * (1 + _TOLERANCE):
        part = f"the RWP of {_name(need)}" if weakest.name == OWN_RWP else f"the {weakest.name}"
        raise Refused(
            "lines",
            f"{_name(highest)} is required at {_said(target, needs)}, but {part} is "
            f"{_said(weakest.limit_gauge, needs)}: one hold cannot prove both.",
            f"Test {_name(need)} in a step of its own.",
        )
    return target


def _name(need: Need) -> str:
    return need.standing.position.name


def _said(pressure: float, needs: Sequence[Need]) -> str:
    system: System = "si" if needs[0].standing.position.stack.rig.display_units == "si" else "us"
    return Amount(pressure, Dimension.PRESSURE).text(system)
