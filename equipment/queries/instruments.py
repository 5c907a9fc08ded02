"""Test instruments, and how their calibration stands on a day."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.db.models import F, QuerySet

from equipment.models import Instrument, Rig
from equipment.queries import access
from equipment.queries.access import Right, Viewer

SOON: Final = timedelta(days=30)
"""How long before the day a calibration or a document counts as running out soon (common practice)."""


@dataclass(frozen=True)
class Expiry:
    """How something that runs out stands on a day.

    Attributes:
        state: key of the state: in-date, due-soon, overdue, or unknown when no day is on file.
        words: the same in words, with the days left or past.
    """

    state: str
    words: str


def instruments_of(rig: Rig) -> QuerySet[Instrument]:
    """Return the rig's instruments, those whose calibration runs out first leading, retired ones last."""
    return rig.instruments.order_by(
        F("retired_on").asc(nulls_first=True), F("calibration_due_on").asc(nulls_first=True), "serial"
    )


def instrument_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Instrument:
    """Return the instrument; raises NotYours or NotAllowed."""
    return access.checked(user, Instrument.objects.select_related("rig").filter(pk=pk).first(), needs=needs)


def expiry_on(day: date, *, due: date | None, missing: str = "No date on file") -> Expiry:
    """Return how what runs out on `due` stands on `day` in the rig's zone; it is in date through `due` itself."""
    if due is None:
        return Expiry("unknown", missing)
    left = (due - day).days
    if left < 0:
        return Expiry("overdue", f"Expired {_days(-left)} ago")
    if left == 0:
        return Expiry("due-now", "Expires today")
    return Expiry("due-soon" if left <= SOON.days else "in-date", f"{_days(left)} left")


def _days(count: int) -> str:
    return f"{count} day" if count == 1 else f"{count} days"
