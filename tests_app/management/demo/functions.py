"""The demo's control items and function tests: worked, timed, counted and signed as people do it."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import Any, Final

from accounts.models import User
from equipment.actions.controls import add_control_item
from equipment.queries.controls import controls_of
from tests_app.actions.function_lines import LineFacts, write_function_lines
from tests_app.actions.function_tests import (
    FunctionHeading,
    WorkedFrom,
    confirm_statements,
    open_function_test,
    work_again,
)
from tests_app.actions.pressure_tests import conclude
from tests_app.management.demo.signing import sign_by_all
from tests_app.management.demo.site import Happening, Site
from tests_app.models import FunctionLine, Record
from tests_app.queries.function_statements import statements_of
from tests_app.queries.function_subjects import FunctionSubject, subjects_of
from trail.actors import System

LASTS: Final = timedelta(minutes=50)
BEFORE_SIGNING: Final = timedelta(minutes=20)
_RAM_S: Final = {"surface": 8.6, "subsea": 21.4}
_ANNULAR_S: Final = {"surface": 22.8, "subsea": 34.5}
_VALVE_S: Final = {"surface": 3.1, "subsea": 9.2}
_RAMS: Final = frozenset({"pipe-ram", "variable-bore-ram", "blind-ram", "blind-shear-ram", "casing-shear-ram"})


def register_controls(site: Site, controls: Sequence[Mapping[str, Any]], at: datetime) -> None:
    """Put the stations, panels, pods and emergency systems of the rig's stack on file."""
    assert site.stack is not None  # the stack is registered before
    for given in controls:
        add_control_item(
            site.stack,
            kind=given["kind"],
            name=given["name"],
            place=given.get("place", ""),
            in_service_from=at,
            by=System.DEMO,
            at=at,
        )


def function_happenings(site: Site, scenario: Mapping[str, Any], signer: User) -> Iterator[Happening]:
    """Return every function test of the scenario with the moment it began."""
    for number, told in enumerate(scenario.get("function_tests", ()), start=1):
        moment = site.moment(told["days_ago"], told["hour"])
        yield moment, partial(_work, site, told, number, moment, signer)


def _work(site: Site, told: Mapping[str, Any], number: int, at: datetime, signer: User) -> None:
    assert site.stack is not None  # the stack is registered before any test
    controls = {item.name: item for item in controls_of(site.stack, at=at)}
    record = open_function_test(
        stack=site.stack,
        section=site.section_at(at),
        heading=FunctionHeading(
            started_at=at,
            reason=told.get("reason", "interval"),
            pipe_in_hole=told.get("pipe", ""),
            manifold_pressure=told.get("manifold", ""),
            annular_pressure=told.get("annular", ""),
            operator="Demo Driller",
            remarks=told.get("remarks", ""),
        ),
        subjects=_chosen(subjects_of(site.stack, None, at=at), told),
        worked_from=WorkedFrom(controls.get(told.get("station", "")), controls.get(told.get("pod", ""))),
        instruments=[],
        by=signer,
        at=at,
    )
    _write(record, told, number, signer, at)
    _repeat(record, told, number, signer, at)
    _confirm(record, signer, at)
    conclude(record, concluded_at=at + LASTS, by=signer, at=at + LASTS)
    record.refresh_from_db()
    sign_by_all(site, record, at + LASTS + BEFORE_SIGNING)
    record.refresh_from_db()
    assert record.passed, f"{record} was meant to pass"


def _chosen(subjects: Sequence[FunctionSubject], told: Mapping[str, Any]) -> list[FunctionSubject]:
    """Return what is worked: what is named, or every component worked from a station with what is named beside."""
    named = set(told.get("works", ()))
    whole = told.get("whole_stack", False)
    return [one for one in subjects if one.name in named or (whole and _is_closed_from_a_station(one))]


def _is_closed_from_a_station(subject: FunctionSubject) -> bool:
    component = subject.component
    return component is not None and component.closing_volume is not None


def _write(record: Record, told: Mapping[str, Any], number: int, by: User, at: datetime) -> None:
    lines = list(record.function_lines.select_related("component", "station", "pod", "control_item").order_by("order"))
    faults = {fault["line"]: fault for fault in told.get("faults", ())}
    facts = {line.pk: _facts(line, number, record.stack.kind, faults.get(str(line), {}), again=False) for line in lines}
    record.refresh_from_db()
    write_function_lines(record, lines=facts, version=record.version, by=by, at=at)


def _repeat(record: Record, told: Mapping[str, Any], number: int, by: User, at: datetime) -> None:
    """Work again what failed, once it was put right."""
    for fault in told.get("faults", ()):
        failed = next(line for line in record.function_lines.all() if str(line) == fault["line"])
        assert failed.outcome == "failed", f"{failed} was meant to fail"
        again = work_again(failed, by=by, at=at)
        record.refresh_from_db()
        facts = _facts(again, number, record.stack.kind, fault, again=True)
        write_function_lines(record, lines={again.pk: facts}, version=record.version, by=by, at=at)


def _confirm(record: Record, by: User, at: datetime) -> None:
    asked = [one.key for one in statements_of(record, record.function_lines.all())]
    if asked:
        confirm_statements(record, confirmed=asked, said_by="Demo Driller", by=by, at=at)


def _facts(line: FunctionLine, number: int, stack: str, fault: Mapping[str, Any], *, again: bool) -> LineFacts:
    """Return what was seen of a line: times of its kind, a little other each time, and the fluid its operator takes."""
    seconds = _seconds(line, number, stack)
    closing = f"{seconds:.1f} s" if "close" in line.worked or line.worked == "sequence" else ""
    if fault:
        closing = fault["again"] if again else fault["took"]
    return LineFacts(
        worked=line.worked,
        station=line.station,
        pod=line.pod,
        closed_on=line.closed_on,
        closing_time=closing if line.component_id else "",
        opening_time=f"{seconds * 0.9:.1f} s" if "open" in line.worked else "",
        **_volumes(line, number),
        completed=True,
        leak_seen=bool(fault) and not again,
        leak_description=fault.get("defect", "") if fault and not again else "",
        remarks=fault.get("put_right", "") if again else "",
    )


def _seconds(line: FunctionLine, number: int, stack: str) -> float:
    kind = line.subject_as_tested["kind"]
    base = _ANNULAR_S if kind == "annular" else _RAM_S if kind in _RAMS else _VALVE_S
    wobble = (sum(map(ord, str(line))) * 7 + number * 13) % 17 / 10
    slower = 0.25 * number if kind == "annular" else 0.0
    return base[stack] + (wobble / 4 if base is _VALVE_S else wobble) + slower


def _volumes(line: FunctionLine, number: int) -> dict[str, str]:
    component = line.component
    if component is None or component.closing_volume is None:
        return {}
    share = 1 + ((sum(map(ord, str(line))) + number * 5) % 9 - 3) / 100
    taken = {"close": component.closing_volume, "open": component.opening_volume}
    return {
        _VOLUMES[movement]: f"{float(volume.text) * share:.3g} {volume.unit}"
        for movement, volume in taken.items()
        if volume is not None and movement in line.worked
    }


_VOLUMES: Final = {"close": "closing_volume", "open": "opening_volume"}
