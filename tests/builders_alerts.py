"""Alerts for the tests: a rig whose instruments run out of calibration, with somebody to tell."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

from accounts.models import User
from equipment.actions import instruments
from equipment.models import Instrument, Rig
from tests import builders
from tests_app.actions.alert_choices import choose_alerts
from tests_app.actions.obligations import reconcile
from tests_app.actions.sweeping import sweep
from tests_app.models import AlertSettings, Notice, SweepMark
from trail.actors import System

DUE_ON: Final = date(2026, 3, 20)
DUE: Final = datetime(2026, 3, 21, 5, tzinfo=UTC)
"""The end of that day in Chicago, which is on summer time then."""
HOUR: Final = timedelta(hours=1)
DAY: Final = timedelta(days=1)
BY: Final = System.SCHEDULER


@dataclass
class Watch:
    """A rig, its supervisor and manager, and instruments that all run out at one midnight."""

    rig: Rig
    supervisor: User
    manager: User
    instruments: list[Instrument] = field(default_factory=list)

    def keep(self, at: datetime) -> None:
        """Work the obligations of the rig out anew and store them."""
        reconcile(self.rig, at=at)

    def sweep(self, at: datetime) -> SweepMark:
        """Sweep the rig with its obligations as they are at that moment."""
        self.keep(at)
        return sweep(self.rig, by=BY, at=at)

    def calibrate(self, instrument: Instrument, at: datetime, *, until: date = date(2027, 3, 20)) -> None:
        """Calibrate an instrument for another year."""
        day = at.astimezone(self.rig.zone).date()
        instruments.amend_instrument(instrument, calibrated_on=day, calibration_due_on=until, by=BY, at=at)
        instrument.refresh_from_db()

    def choose(self, at: datetime = builders.DAY, **facts: Any) -> AlertSettings:
        """Choose how the rig tells: three days and one day before, the supervisor by role, no digest, unless given."""
        people = facts.pop("people", [])
        facts = {"long_hours_before": [72, 24], "roles": ["supervisor"], "digest_at": None, **facts}
        return choose_alerts(self.rig, people=people, by=BY, at=at, **facts)

    def stages(self) -> list[str]:
        """Return the stages noticed so far, in order."""
        return list(Notice.objects.filter(rig=self.rig).order_by("pk").values_list("stage", flat=True))


def a_watch(*, instruments: int = 1, zone: str = "America/Chicago", **choices: Any) -> Watch:
    """A rig with so many recorders that run out of calibration at the end of `DUE_ON`."""
    rig = builders.a_rig(time_zone=zone)
    people = [builders.a_person(rig=rig, role=role) for role in ("supervisor", "rig-manager")]
    for person in people:
        person.email = f"{person.username}@rig.example"
        person.save()
    watch = Watch(rig, *people)
    for _ in range(instruments):
        made = builders.an_instrument(rig, calibrated_on=date(2025, 3, 20), calibration_due_on=DUE_ON)
        watch.instruments.append(made)
    watch.choose(**choices)
    return watch
