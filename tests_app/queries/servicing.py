"""What work on a component means to the dates of its tests."""

from collections.abc import Mapping
from typing import Final

from calcs.recurrence import EventKind, Happened
from equipment.models import ServiceEvent, ServiceKind

_MEANS: Final[Mapping[str, EventKind]] = {
    ServiceKind.OUT_OF_SERVICE: EventKind.OUT_OF_SERVICE,
    ServiceKind.BACK_IN_SERVICE: EventKind.BACK_IN_SERVICE,
}
"""Every other kind of work opens the component or breaks a pressure seal: what was proved before counts no more."""


def as_event(work: ServiceEvent) -> Happened:
    """Return a service event as the deadlines read it."""
    return Happened(_MEANS.get(work.kind, EventKind.REPAIRED), work.at)
