"""Which calibration of an instrument was in force on a day: its row keeps the last, the trail those before."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from equipment.models import Instrument
from trail.models import TrailEntry

_MADE, _DUE = "calibrated_on", "calibration_due_on"


@dataclass(frozen=True, slots=True)
class Calibrated:
    """A calibration as it stood on file.

    Attributes:
        since: the day it was made; the day it was entered where none was given.
        due_on: the last day it lasts; None where none was given.
    """

    since: date
    due_on: date | None


def calibrations_of(
    instruments: Collection[int], *, zone: ZoneInfo, known_at: datetime | None = None
) -> dict[int, list[Calibrated]]:
    """Return the calibrations of instruments by their keys, the first first. One query.

    What was put right later stands as put right: a state with an earlier day takes the place of those after it, as
    when an entry made in error is withdrawn. With `known_at` only what was entered by then counts.
    """
    entered = TrailEntry.objects.filter(subject_type=Instrument._meta.label_lower, subject_id__in=instruments)
    if known_at is not None:
        entered = entered.filter(at__lte=known_at)
    rows: dict[int, list[tuple[datetime, Any, Any]]] = defaultdict(list)
    for key, at, before, after in entered.order_by("at", "pk").values_list("subject_id", "at", "before", "after"):
        rows[key].append((at, before or {}, after or {}))
    return {key: _stood(ones, zone) for key, ones in rows.items()}


def in_force(calibrations: Sequence[Calibrated], day: date) -> Calibrated | None:
    """Return the calibration of a day; before the first known one that first one; None where none is known."""
    made = [one for one in calibrations if one.since <= day]
    return made[-1] if made else next(iter(calibrations), None)


def _stood(entered: Iterable[tuple[datetime, Any, Any]], zone: ZoneInfo) -> list[Calibrated]:
    found: list[Calibrated] = []
    state: dict[str, str] = {}
    for at, before, after in entered:
        if not found and not state and _DUE in before:
            # Its registration is on no trail: what stood before the first change counts from that day at the latest.
            state = {_MADE: "", **before}
            _put(found, state, at, zone)
        if _MADE in after or _DUE in after:
            state = {**state, **after}
            _put(found, state, at, zone)
    return found


def _put(found: list[Calibrated], state: dict[str, str], at: datetime, zone: ZoneInfo) -> None:
    due_on = _day(state.get(_DUE))
    since = _day(state.get(_MADE)) or at.astimezone(zone).date()
    if due_on is None and not found:
        return  # never calibrated yet
    found[:] = [one for one in found if one.since < since]
    found.append(Calibrated(since, due_on))


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None
