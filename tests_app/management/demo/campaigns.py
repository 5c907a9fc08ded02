"""The demo's pressure tests: each run opened, stepped, recorded, concluded and signed as people do it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any, Final

from accounts.models import User
from calcs.units import Dimension, Quantity, from_si
from tests_app.actions.pressure_tests import Heading, conclude, open_pressure_test
from tests_app.actions.readings import HoldReading, type_readings
from tests_app.actions.recordings import attach_recording, confirm_marks
from tests_app.actions.steps import LineSpec, add_step, note_line, retest_step
from tests_app.management.demo.recorder import MadeHold, as_csv, samples
from tests_app.management.demo.signing import sign_by_all
from tests_app.management.demo.site import Happening, Site
from tests_app.models import Barrier, ControlStation, Outcome, Pod, Record, Step, TestFluid, TestReason

RECORDED_FAULTS: Final = frozenset({"high-leak", "low-leak", "low-overshoot"})
AFTER_THE_LAST_HOLD: Final = timedelta(minutes=4)
UNRECORDED_HOLD: Final = timedelta(minutes=5, seconds=20)
BEFORE_SIGNING: Final = timedelta(minutes=25)
TEST_STATIONS: Final = (ControlStation.DRILL_FLOOR, ControlStation.REMOTE)
TEST_PODS: Final = (Pod.BLUE, Pod.YELLOW)


@dataclass(frozen=True)
class Run:
    """One test of a campaign: its place in it, when it began, what goes wrong."""

    number: int
    started_at: datetime
    reason: str
    lineup: Mapping[str, Any]
    faults: Mapping[int, Mapping[str, Any]]

    @property
    def seed(self) -> int:
        """Return a seed of its own, the same at each load."""
        return self.number * 1000 + sum(map(ord, self.lineup["id"]))


def campaign_happenings(site: Site, scenario: Mapping[str, Any], signer: User) -> Iterator[Happening]:
    """Return every test of the scenario's campaigns with the moment it began."""
    lineups = {lineup["id"]: lineup for lineup in scenario["lineups"]}
    for campaign in scenario["campaigns"]:
        for number, days_ago in enumerate(campaign["days_ago"], start=1):
            run = Run(
                number=number,
                started_at=site.moment(days_ago, campaign["hour"]),
                reason=campaign["first_reason"] if number == 1 else TestReason.INTERVAL,
                lineup=lineups[campaign["lineup"]],
                faults={fault["step"]: fault for fault in campaign.get("faults", ()) if fault["run"] == number},
            )
            yield run.started_at, partial(_run, site, run, signer)


def _run(site: Site, run: Run, signer: User) -> None:
    record = _open(site, run, signer)
    steps = [_add_step(site, record, given, signer, run.started_at) for given in run.lineup["steps"]]
    ended_at = _record_all(run, record, steps, signer)
    ended_at = _retests(run, record, steps, signer, ended_at)
    concluded_at = ended_at + AFTER_THE_LAST_HOLD
    conclude(record, concluded_at=concluded_at, by=signer, at=concluded_at)
    record.refresh_from_db()
    sign_by_all(site, record, concluded_at + BEFORE_SIGNING)


def _open(site: Site, run: Run, signer: User) -> Record:
    assert site.stack is not None  # the stack is registered before any test
    in_bore = run.lineup["id"] in {"stack", "blind-shear"}
    subsea = site.stack.kind == "subsea"
    heading = Heading(
        started_at=run.started_at,
        reason=run.reason,
        fluid=TestFluid.WATER if run.number == 1 else TestFluid.MUD,
        barrier=Barrier.PLUG,
        pipe_in_hole=("5.5 in" if subsea else "5 in") if run.lineup["id"] == "stack" else "",
        control_station=TEST_STATIONS[run.number % 2] if in_bore else "",
        pod=TEST_PODS[run.number % 2] if in_bore and subsea else "",
        pump_operator="Demo Pump Operator",
        remarks="",
    )
    return open_pressure_test(
        rig=site.rig,
        stack=site.stack,
        section=site.section_at(run.started_at),
        heading=heading,
        instruments=site.instruments[:2],
        by=signer,
        at=run.started_at,
    )


def _add_step(site: Site, record: Record, given: Mapping[str, Any], by: User, at: datetime) -> Step:
    return add_step(
        record,
        name=given["name"],
        pump_point=given["pump_point"],
        lines=[LineSpec(site.positions[name]) for name in given["lines"]],
        by=by,
        at=at,
    )


def _record_all(run: Run, record: Record, steps: Sequence[Step], by: User) -> datetime:
    """Attach one recording of the whole test (or type its readings); returns when its last hold was over."""
    if any(fault["kind"] == "typed" for fault in run.faults.values()):
        return _type_all(run, steps, by)
    holds = [_made(step, run.faults.get(order, {}).get("kind", "")) for order, step in enumerate(steps, start=1)]
    ended_at = _attach(record, None, holds, run.started_at, seed=run.seed, by=by, name=run.lineup["id"])
    for order, fault in run.faults.items():
        if fault["kind"] == "drip":
            line = steps[order - 1].lines.get()
            note_line(
                line, leak_seen=True, leak_description="Drip at the stem, a drop in ten seconds.", by=by, at=ended_at
            )
    return ended_at


def _retests(run: Run, record: Record, steps: Sequence[Step], by: User, at: datetime) -> datetime:
    """Repeat the failed steps that are to be repeated, each with a recording of its own."""
    for order, fault in run.faults.items():
        if fault.get("retest"):
            failed = Step.objects.get(pk=steps[order - 1].pk)
            assert failed.lines.filter(outcome=Outcome.FAILED).exists(), f"{failed} was meant to fail"
            retest = retest_step(failed, by=by, at=at)
            begun_at = at + timedelta(minutes=40)
            at = _attach(record, retest, [_made(retest)], begun_at, seed=run.seed + order, by=by, name="retest")
    return at


def _attach(
    record: Record, step: Step | None, holds: Sequence[MadeHold], begun_at: datetime, *, seed: int, by: User, name: str
) -> datetime:
    rows = samples(holds, seed=seed)
    ended_at = begun_at + timedelta(seconds=rows[-1][0])
    recording = attach_recording(
        record,
        step=step,
        file_name=f"{begun_at:%Y%m%d}-{name}.csv",
        content=as_csv(rows).encode(),
        content_type="text/csv",
        by=by,
        at=ended_at,
    )
    if step is None:
        confirm_marks(recording, by=by, at=ended_at)
    return ended_at


def _made(step: Step, fault: str = "") -> MadeHold:
    target = step.limits["high"]["target"]
    return MadeHold(_psi(target), _seconds(step), fault if fault in RECORDED_FAULTS else "")


def _psi(limit: Mapping[str, Any]) -> float:
    pressure = Quantity(float(limit["value"]), limit["unit"]).si(Dimension.PRESSURE)
    return from_si(pressure, "psi", Dimension.PRESSURE)


def _seconds(step: Step) -> int:
    return max(line.hold_seconds for line in step.lines.all())


def _type_all(run: Run, steps: Sequence[Step], by: User) -> datetime:
    at = run.started_at
    for step in steps:
        target, hold = _psi(step.limits["high"]["target"]), max(timedelta(seconds=_seconds(step)), UNRECORDED_HOLD)
        low_from, high_from = at + timedelta(minutes=5), at + timedelta(minutes=8) + hold
        at = high_from + hold
        type_readings(
            step,
            low=HoldReading(low_from, low_from + hold, "305 psi", "300 psi", "310 psi"),
            high=HoldReading(high_from, at, f"{target * 1.015:.0f} psi", f"{target * 1.01:.0f} psi"),
            reason="Recorder battery flat; read from the calibrated gauge.",
            by=by,
            at=at,
        )
    return at
