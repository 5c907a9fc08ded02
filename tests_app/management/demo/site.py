"""A rig of the demo while it is being built, and the calendar its history hangs on."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from accounts.models import User
from equipment.models import Component, HoleSection, Instrument, Position, Rig, Stack

Happening = tuple[datetime, Callable[[], object]]
"""When something happened, and the action that writes it."""


@dataclass(frozen=True)
class Signer:
    """One of the crew who signs, with their password."""

    person: User
    password: str


@dataclass
class Site:
    """The rig's rows by name, and the day the demo is loaded on the rig's own calendar."""

    rig: Rig
    today: date
    stack: Stack | None = None
    positions: dict[str, Position] = field(default_factory=dict)
    components: dict[str, Component] = field(default_factory=dict)
    sections: list[HoleSection] = field(default_factory=list)
    instruments: list[Instrument] = field(default_factory=list)
    signers: list[Signer] = field(default_factory=list)

    def day(self, days_ago: int) -> date:
        """Return the date so many days before the load day."""
        return self.today - timedelta(days=days_ago)

    def moment(self, days_ago: int, hour: int = 0) -> datetime:
        """Return an hour of that day on the rig's clock."""
        return datetime.combine(self.day(days_ago), time(hour), tzinfo=self.rig.zone)

    def section_at(self, moment: datetime) -> HoleSection:
        """Return the hole section being drilled at a moment."""
        begun = [section for section in self.sections if section.begins_at and section.begins_at <= moment]
        return begun[-1]
