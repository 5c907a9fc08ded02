"""Searching a recorder's file for the steps of a drawdown: what is found is proposed, and the tester takes it over."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from calcs.drawdown_steps import FoundStep, find_drawdown_steps
from calcs.errors import InputError
from calcs.recordings import Recording as Samples
from calcs.units import Dimension, from_si
from tests_app.models import DrawdownFunction, Record, Recording, RecordingKind

_DIGITS: Final = 5
"""Significant figures of a pressure taken from a file: finer than any gauge is read."""


def propose_steps(record: Record, recording: Recording, samples: Samples) -> None:
    """Search the drops of a drawdown and give each to the function of its place; keep what to look at beside them.

    A file in which nothing is found is kept all the same, and says why. Functions without a drop of their own keep
    no proposal.
    """
    functions = list(record.drawdown_functions.order_by("order"))
    facts: dict[str, Any] = {**recording.facts, "searched": True, "holds": [], "drops": [], "reasons": []}
    try:
        found = find_drawdown_steps(samples, len(functions) or None)
    except InputError as error:
        recording.facts = {**facts, "reasons": [f"{error.reason} {error.remedy}"]}
        return
    drops = [_drop(step, recording, samples.unit) for step in found.steps]
    start = _written(found.start, samples.unit)
    recording.facts = {**facts, "start_pressure": start, "drops": drops, "reasons": list(found.reasons)}
    _give(functions, recording.facts)


def give_places(record: Record) -> None:
    """Give the steps found to the functions anew, by their places: a function was added, moved or taken out.

    Readings that were taken over stay with their function.
    """
    files = record.recordings.filter(withdrawn_at__isnull=True, kind=RecordingKind.SAMPLES).defer("curve")
    searched = [one for one in files.order_by("received_at", "id") if one.facts.get("drops")]
    if searched:
        _give(list(record.drawdown_functions.order_by("order")), searched[-1].facts)


def _give(functions: Sequence[DrawdownFunction], facts: Mapping[str, Any]) -> None:
    drops = facts["drops"]
    for place, function in enumerate(functions):
        proposed = {**drops[place], "start_pressure": facts["start_pressure"]} if place < len(drops) else None
        if _is_taken_over(function, proposed):
            continue
        function.proposed = proposed
        function.save()


def _is_taken_over(function: DrawdownFunction, proposed: Mapping[str, Any] | None) -> bool:
    """Tell whether the function's readings came from the same drop of the same file already."""
    stands = function.proposed
    if not stands or not stands["confirmed"] or proposed is None:
        return False
    return bool({**stands, "confirmed": False} == proposed)


def forget_steps(record: Record, recording: Recording) -> None:
    """Take back what a file proposed; what was taken over from it stays as read, and is no longer called its."""
    for function in record.drawdown_functions.filter(proposed__isnull=False):
        if function.proposed and function.proposed["recording"] == recording.pk:
            function.proposed = None
            function.save()


def _drop(step: FoundStep, recording: Recording, unit: str) -> dict[str, Any]:
    settled = step.pressure_settled
    return {
        "recording": recording.pk,
        "file_name": recording.file_name,
        "began_s": step.began_s,
        "done_s": step.done_s,
        "seconds": round(step.done_s - step.began_s, 1),
        "pressure_at_once": _written(step.pressure_at_once, unit),
        "settled_s": step.settled_s,
        "wait_s": None if step.settled_s is None else round(step.settled_s - step.done_s, 1),
        "pressure_settled": None if settled is None else _written(settled, unit),
        "confirmed": False,
    }


def _written(pressure: float, unit: str) -> dict[str, str]:
    """Return a pressure in the file's unit as a person would write it down."""
    value = from_si(pressure, unit, Dimension.PRESSURE)
    return {"value": f"{value:.{_DIGITS}g}" if abs(value) < 10**_DIGITS else f"{value:.0f}", "unit": unit}
