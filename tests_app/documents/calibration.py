"""How the calibration of an instrument stood on the day of a test, in words, for page and paper alike."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tests_app.documents import figures


@dataclass(frozen=True, slots=True)
class Calibration:
    """The state's key (`in-date`, `out-of-date`, `unknown`) and its words."""

    state: str
    words: str


def calibration_stands(instrument: Mapping[str, Any]) -> Calibration:
    """Return how it stood; `instrument` has `in_date` and `calibration_due_on` (see `content.InstrumentContent`)."""
    if instrument["in_date"]:
        return Calibration("in-date", "In date")
    if instrument["in_date"] is None:
        return Calibration("unknown", "No calibration due date on file")
    expired = figures.day_text(instrument["calibration_due_on"])
    return Calibration("out-of-date", f"Calibration expired {expired}, before this test")
