"""The work done on a rig of the demo, what of it was deferred, and a test that was not safe to make."""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any, Final

from accounts.models import User
from calcs.units import Dimension
from equipment.models import Installation, Instrument, Measured
from tests_app.actions.deferrals import grant_deferral
from tests_app.actions.postponements import postpone_test
from tests_app.actions.renewals import Calibration
from tests_app.actions.work import Pressed, Received, record_work
from tests_app.management.demo.site import Happening, Site
from tests_app.queries.owed import owed_on

_LASTS: Final = {"overhaul": timedelta(days=3), "casing-test": timedelta(minutes=50)}
_USUALLY: Final = timedelta(minutes=40)


def work_happenings(site: Site, scenario: Mapping[str, Any], by: User, entered_from: datetime) -> Iterator[Happening]:
    """Yield the work of a scenario; what was done before `entered_from` was entered then, from papers."""
    for given in scenario.get("work", ()):
        for place in given["of"]:
            for days_ago in given["days_ago"]:
                concluded = site.moment(days_ago, given["hour"])
                at = max(concluded, entered_from)
                yield at, partial(_do, site, given, place, concluded, by, at)
    for given in scenario.get("deferrals", ()):
        at = site.moment(given["days_ago"], given["hour"])
        yield at, partial(_defer, site, given, by, at)
    for given in scenario.get("postponements", ()):
        at = site.moment(given["days_ago"], given["hour"])
        yield at, partial(_postpone, site, given, by, at)


def calibrate(site: Site, instrument: Instrument, given: Mapping[str, Any], by: User, at: datetime) -> None:
    """Enter the present calibration of an instrument, with its certificate."""
    number = f"CAL-{instrument.serial}-2"
    concluded = min(site.moment(given["calibrated_days_ago"]), at)
    record_work(
        owed_on(site.rig, f"calibration/instrument-{instrument.pk}"),
        started_at=concluded,
        concluded_at=concluded,
        passed=True,
        done_by="Invented Calibration House",
        evidence=_paper(f"Calibration certificate {number}", "certificate"),
        renewal=Calibration(site.day(-given["calibration_due_in_days"]), number),
        by=by,
        at=at,
    )
    instrument.refresh_from_db()


def _do(site: Site, given: Mapping[str, Any], place: str, concluded: datetime, by: User, at: datetime) -> None:
    owed = owed_on(site.rig, _key(site, given["what"], place, at))
    record_work(
        owed,
        started_at=concluded - _LASTS.get(given["what"], _USUALLY),
        concluded_at=concluded,
        passed=True,
        done_by=given["done_by"],
        findings=given.get("findings", ""),
        evidence=_paper(f"{owed.what.label} of {owed.name}, {concluded:%Y-%m-%d}", "report") if owed.papers else None,
        pressed=_pressed(given),
        by=by,
        at=at,
    )


def _defer(site: Site, given: Mapping[str, Any], by: User, at: datetime) -> None:
    grant_deferral(
        owed_on(site.rig, _key(site, given["what"], given["of"], at)),
        granted_at=at,
        until=site.moment(given["until_days_ago"]),
        approved_by=given["approved_by"],
        reference=given["reference"],
        reason=given["reason"],
        conditions=given.get("conditions", ""),
        by=by,
        at=at,
    )


def _postpone(site: Site, given: Mapping[str, Any], by: User, at: datetime) -> None:
    postpone_test(
        owed_on(site.rig, _key(site, given["what"], given["of"], at)),
        made_at=at,
        reason=given["reason"],
        explanation=given["explanation"],
        by=by,
        at=at,
    )


def _key(site: Site, what: str, place: str, at: datetime) -> str:
    """Return the key of what a place named in the scenario owes: the rig, the stack, a section or a position."""
    assert site.stack is not None  # registered before anything is done on it
    sections = {section.name: section.pk for section in site.sections}
    if place in sections:
        return f"{what}/holesection-{sections[place]}"
    if place == "crew":
        return f"{what}/rig-{site.rig.pk}"
    if place == "stack":
        return f"{what}/stack-{site.stack.pk}"
    placed = Installation.objects.filter(position=site.positions[place]).order_by("installed_at")
    standing = [one for one in placed if one.installed_at <= at] or list(placed)
    return f"{what}/installation-{standing[-1].pk}"


def _pressed(given: Mapping[str, Any]) -> Pressed | None:
    if "reached" not in given:
        return None
    reached, left = (Measured.of(given[name], Dimension.PRESSURE, field=name) for name in ("reached", "left"))
    return Pressed(reached, left, Decimal(given["minutes"]))


def _paper(words: str, name: str) -> Received:
    return Received(f"{name}.txt", f"Invented for the demo: {words}.\n".encode())
