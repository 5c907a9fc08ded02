"""Tests as done, for the tests: built through the application's own actions on the world of `tests.builders`."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final

from accounts.models import User
from equipment.models import HoleSection, Instrument, Position, Rig, Stack
from tests import builders
from tests.builders import DAY
from tests.builders_signing import all_sign
from tests.recordings_made import Curve, step
from tests_app.actions import pressure_tests, readings, recordings, steps
from tests_app.actions.obligations import reconciling_once
from tests_app.actions.pressure_tests import Heading
from tests_app.actions.readings import HoldReading
from tests_app.actions.steps import LineSpec
from tests_app.models import Record, Recording, Signature, Step

STARTED: Final = DAY
CONCLUDED: Final = DAY + timedelta(hours=3)
SIGNED: Final = DAY + timedelta(hours=4)

LOW: Final = HoldReading(
    start_at=STARTED + timedelta(minutes=1),
    end_at=STARTED + timedelta(minutes=6),
    start_pressure="300 psi",
    end_pressure="298 psi",
    highest_before="310 psi",
)
HIGH: Final = HoldReading(
    start_at=STARTED + timedelta(minutes=8),
    end_at=STARTED + timedelta(minutes=13),
    start_pressure="10080 psi",
    end_pressure="10040 psi",
)


@dataclass
class World:
    """A rig with a stack standing, a section being drilled, a recorder and its supervisor."""

    rig: Rig
    stack: Stack
    section: HoleSection
    recorder: Instrument
    supervisor: User
    positions: dict[str, Position] = field(default_factory=dict)

    def at(self, name: str) -> Position:
        """Return a position of the stack by its name."""
        if not self.positions:
            self.positions = {position.name: position for position in self.stack.positions.all()}
        return self.positions[name]


def a_world(
    kind: str = "surface", *, rig: dict[str, Any] | None = None, section: dict[str, Any] | None = None
) -> World:
    """A rig ready to test: every position filled long ago with 10,000 psi equipment."""
    with reconciling_once():
        its_rig = builders.a_rig(**(rig or {}))
        supervisor = builders.a_person(rig=its_rig)
        supervisor.display_name = "Ida Storm"
        supervisor.save()
        return World(
            rig=its_rig,
            stack=builders.a_filled_stack(its_rig, kind),
            section=builders.a_section(builders.a_well(its_rig), **(section or {})),
            recorder=builders.an_instrument(its_rig),
            supervisor=supervisor,
        )


def a_heading(**facts: Any) -> Heading:
    """A test on the interval, with water, against a plug, from the drill floor."""
    facts = {
        "started_at": STARTED,
        "reason": "interval",
        "fluid": "water",
        "barrier": "plug",
        "pipe_in_hole": "5 in",
        "control_station": "drill-floor",
        **facts,
    }
    return Heading(**facts)


def a_draft(
    world: World,
    *,
    at: datetime = STARTED,
    section: HoleSection | None = None,
    instruments: Sequence[Instrument] | None = None,
    **heading: Any,
) -> Record:
    """A draft of a pressure test without steps."""
    return pressure_tests.open_pressure_test(
        rig=world.rig,
        stack=world.stack,
        section=section or world.section,
        heading=a_heading(**{"started_at": at, "pod": "blue" if world.stack.kind == "subsea" else "", **heading}),
        instruments=[world.recorder] if instruments is None else instruments,
        by=world.supervisor,
        at=at,
    )


def a_step(
    record: Record, world: World, *names: str, name: str = "", side: str = "", at: datetime = STARTED, **facts: Any
) -> Step:
    """A step that proves the named positions from their usual side."""
    return steps.add_step(
        record,
        name=name or names[0],
        pump_point=facts.pop("pump_point", "Test pump on the kill line"),
        lines=[LineSpec(world.at(one), side) for one in names],
        by=world.supervisor,
        at=at,
        **facts,
    )


def a_recording(
    record: Record,
    world: World,
    curve: Curve | str | bytes,
    *,
    step: Step | None = None,
    at: datetime = SIGNED,
    **facts: Any,
) -> Recording:
    """A recorder file attached to the whole test or to one step; a curve has its clock from the test's start.

    Its ramps are the step's own, as no two recordings are alike.
    """
    if isinstance(curve, Curve):
        curve = curve.with_its_own_ramps(record.pk * 1_000 + (step.order if step else 0))
    content = curve.clock_csv(record.started_at) if isinstance(curve, Curve) else curve
    return recordings.attach_recording(
        record,
        step=step,
        file_name=facts.pop("file_name", "recorder.csv"),
        content=content if isinstance(content, bytes) else content.encode(),
        content_type="text/csv",
        by=world.supervisor,
        at=at,
        **facts,
    )


def typed(
    step: Step, world: World, *, low: HoldReading = LOW, high: HoldReading = HIGH, reason: str = "Recorder lost power"
) -> Step:
    """Readings typed in for a step, good ones unless given."""
    return readings.type_readings(step, low=low, high=high, reason=reason, by=world.supervisor, at=SIGNED)


def good(target: float = 10_000.0, *, low: float = 300.0) -> Curve:
    """A step held well: low, then a little over the target."""
    return step(low=low, high=target * 1.01)


def leaking(target: float = 10_000.0) -> Curve:
    """A step whose high hold falls under the target within two minutes."""
    return Curve.through(
        [
            (0, 0),
            (0.5, 300),
            (6.5, 300),
            (7.5, target * 1.01),
            (9, target * 0.98),
            (13.5, target * 0.9),
            (14, 0),
            (15, 0),
        ]
    )


def a_judged_draft(world: World, *, curve: Curve | None = None, at: datetime = STARTED, **heading: Any) -> Record:
    """A concluded draft with one step on the upper pipe ram, judged from a recorder file."""
    record = a_draft(world, at=at, **heading)
    only = a_step(record, world, "Upper pipe ram", at=at)
    a_recording(record, world, curve or good(), step=only, at=at + timedelta(hours=2))
    return concluded(record, world, at=at)


def concluded(record: Record, world: World, *, at: datetime = STARTED) -> Record:
    """The same draft, concluded three hours after `at`."""
    over = at + timedelta(hours=3)
    return pressure_tests.conclude(record, concluded_at=over, by=world.supervisor, at=over)


def signed(record: Record, world: World, *, at: datetime | None = None) -> Signature:
    """Every needed signature under a draft, the supervisor's last, an hour after its conclusion."""
    record.refresh_from_db()
    assert record.concluded_at is not None
    return all_sign(record, world.supervisor, at=at or record.concluded_at + timedelta(hours=1))


def a_sealed_record(world: World, *, curve: Curve | None = None, at: datetime = STARTED, **heading: Any) -> Record:
    """A signed record of one step on the upper pipe ram; `curve` may make it fail."""
    record = a_judged_draft(world, curve=curve, at=at, **heading)
    signed(record, world)
    record.refresh_from_db()
    return record
