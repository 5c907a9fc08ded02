"""The demo's defects: opened from failed lines of its tests, acted on, reported, one of them proven by its retest."""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from accounts.models import User
from tests_app.actions.defect_steps import Work, act_on_defect, close_by_retest, report_defect
from tests_app.actions.defects import Seen, open_from_line
from tests_app.management.demo.site import Happening, Site
from tests_app.models import Defect, Line, Outcome
from tests_app.queries.defects import standing_of
from tests_app.queries.found_defects import failed_line
from tests_app.queries.retests import retests_of


def defect_happenings(site: Site, scenario: Mapping[str, Any], by: User) -> Iterator[Happening]:
    """Return every defect of the scenario with the moment it was opened; what followed is entered in its turn."""
    for given in scenario.get("defects", ()):
        at = site.moment(given["days_ago"], given["hour"])
        yield at, partial(_open, site, given, by, at)
        if "reported_hours_later" in given:
            sent = at + timedelta(hours=given["reported_hours_later"])
            yield sent, partial(_report, site, given, by, sent)
        if "proven_hours_later" in given:
            proven = at + timedelta(hours=given["proven_hours_later"])
            yield proven, partial(_prove, site, given, by, proven)


def _open(site: Site, given: Mapping[str, Any], by: User, at: datetime) -> None:
    failed = Line.objects.filter(
        position=site.positions[given["of"]], outcome=Outcome.FAILED, step__record__sealed_at__lte=at
    )
    line = failed.select_related("step__record__rig", "step__record__pressure_test", "component", "position")
    found = failed_line(line.latest("step__record__started_at"))
    assert found.line is not None
    seen = Seen(found.found_at, "Demo Tester", given["description"], given["severity"], given["barrier"])
    defect = open_from_line(found.line, seen=seen, by=by, at=at)
    if "done" in given:
        done_at = found.found_at + timedelta(minutes=given["done_minutes_later"])
        work = Work(done_at, given["done"], given["done_by"], given.get("parts", ""), given["puts_right"])
        act_on_defect(defect, work=work, by=by, at=at)


def _report(site: Site, given: Mapping[str, Any], by: User, at: datetime) -> None:
    asked = standing_of(_defect(site, given)).reports
    report_defect(
        _defect(site, given), rule_id=asked[0].rule.id, done_at=at, reference=given["reference"], by=by, at=at
    )


def _prove(site: Site, given: Mapping[str, Any], by: User, at: datetime) -> None:
    defect = _defect(site, given)
    retest = next(one for one in reversed(retests_of(standing_of(defect))) if one.shows_it_cured)
    close_by_retest(defect, retest.line, by=by, at=at)


def _defect(site: Site, given: Mapping[str, Any]) -> Defect:
    return Defect.objects.filter(rig=site.rig, position=site.positions[given["of"]]).latest("opened_at")
