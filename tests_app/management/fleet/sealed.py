"""A pressure test of an invented rig, with all that hangs on it, its sealed content and its place in the rig's chain.

The readings are typed, as off a chart: a file for each of a hundred thousand tests would only fill the disk. What is
written is what the product would have kept of such a test, and every seal holds when it is checked.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.conf import settings
from django.db.models import Model
from django.db.models.base import ModelState

from calcs.readings import Reading
from calcs.signing import open_seats
from calcs.units import Dimension, from_si, to_si
from equipment.models import Component, CrewRole, Instrument, Position
from tests_app.documents.envelope import edition_content, instrument_content, rig_content, section_content
from tests_app.documents.pressure_snapshot import heading_content, proved_by, rules_content
from tests_app.documents.step_copies import Local, line_content, open_line, step_content, typed_hold
from tests_app.management.fleet.founding import told
from tests_app.management.fleet.papers import Paper
from tests_app.management.fleet.phrases import plain
from tests_app.management.fleet.plans import PlannedLine, PlannedStep
from tests_app.management.fleet.rounds import Test
from tests_app.management.fleet.site import Site, measured, quantities
from tests_app.models import (
    Barrier,
    Certificate,
    CertificateKind,
    Evidence,
    HoldPhase,
    InstrumentUse,
    Line,
    Outcome,
    PressureTest,
    Record,
    RecordKind,
    Signature,
    SigningRole,
    Step,
    TestFluid,
    TypedReading,
)
from tests_app.queries import verdicts
from tests_app.queries.copies import as_tested, as_used
from tests_app.queries.limits import hold_rule, hold_s
from tests_app.queries.records import final_lines
from tests_app.queries.verification import HELD_ROWS, NOT_HASHED
from tests_app.seals import sha256_of
from trail.entries import snapshot

WRITTEN_ONCE: Final = ("component_as_tested", "working", "rules", "limits")
"""Columns that are the same object in line after line."""
READ_FROM: Final = "Read off the chart; no digital recorder on board."
STATIONS: Final = ("drill-floor", "remote")
BEFORE_SIGNING: Final = timedelta(minutes=10)
BETWEEN_SIGNATURES: Final = timedelta(minutes=5)
SIGNERS: Final = {
    SigningRole.LESSEE: CrewRole.LESSEE,
    SigningRole.CONTRACTOR: CrewRole.RIG_MANAGER,
    SigningRole.PUMP_OPERATOR: CrewRole.TESTER,
    SigningRole.SUPERVISOR: CrewRole.SUPERVISOR,
}


@dataclass
class _Held:
    """The rows of one record on their way."""

    record: Record
    heading: PressureTest
    uses: list[InstrumentUse]
    steps: list[Step]
    lines: list[Line]
    readings: list[TypedReading]
    signatures: list[Signature]


def write_test(site: Site, test: Test, paper: Paper) -> Record:
    """Write one sealed test; `paper` stands in place of its certificate."""
    held = _opened(site, test)
    _fill(site, test, held)
    left = [line for line in final_lines(held.lines) if line.outcome == Outcome.FAILED]
    _seal(site, held, left)
    _shelve(site, held, paper)
    return held.record


def write_draft(site: Site, test: Test) -> Record:
    """Write a test that was begun and has no evidence yet."""
    held = _opened(site, test)
    held.record.concluded_at = None
    for step in test.steps:
        _add_step(site, held, step)
    for row in (held.heading, *held.uses, *held.steps, *held.lines, held.record):
        site.shelf.put(row)
    return held.record


def _opened(site: Site, test: Test) -> _Held:
    site.records += 1
    by = site.crew[CrewRole.SUPERVISOR]
    record = Record(
        pk=site.shelf.next_key(Record),
        rig=site.rig,
        stack=site.stack,
        section=site.section_at(test.started_at),
        kind=RecordKind.PRESSURE,
        number=site.records,
        edition=site.design.edition,
        started_at=test.started_at,
        concluded_at=test.concluded_at,
        created_at=test.started_at,
        created_by=by,
        version=len(test.steps) + 1,
    )
    in_bore = test.line_up in {"stack", "shear"}
    heading = PressureTest(
        record=record,
        reason=test.reason,
        fluid=TestFluid.WATER,
        barrier=Barrier.PLUG,
        control_station=STATIONS[site.records % 2] if in_bore else "",
        pump_operator=site.crew[CrewRole.TESTER].display_name,
    )
    uses = [_use(site, record, instrument) for instrument in site.instruments[:2]]
    return _Held(record, heading, uses, [], [], [], [])


def _use(site: Site, record: Record, instrument: Instrument) -> InstrumentUse:
    key = site.shelf.next_key(InstrumentUse)
    return InstrumentUse(pk=key, record=record, instrument=instrument, as_used=as_used(instrument))


def _fill(site: Site, test: Test, held: _Held) -> None:
    """Add every step with its readings; one that fails is repeated at the end, where it is repeated."""
    at = test.started_at
    for number, planned in enumerate(test.steps):
        step = _add_step(site, held, planned)
        at = _read(site, held, step, at, fails=number == test.fails)
    if test.fails is not None and test.repeated:
        retest = _add_step(site, held, test.steps[test.fails], retest_of=held.steps[test.fails])
        at = _read(site, held, retest, at, fails=False)


def _add_step(site: Site, held: _Held, planned: PlannedStep, retest_of: Step | None = None) -> Step:
    step = Step(
        pk=site.shelf.next_key(Step),
        record=held.record,
        order=len(held.steps) + 1,
        name=planned.name,
        pump_point="Kill line",
        limits=planned.limits,
        retest_of=retest_of,
    )
    lines = [_line(site, step, one) for one in planned.lines]
    held.steps.append(step)
    held.lines.extend(lines)
    _known(step, "lines", lines)
    _known(step, "retests", [])
    if retest_of is not None:
        _known(retest_of, "retests", [step])
    return step


def _line(site: Site, step: Step, planned: PlannedLine) -> Line:
    """Return a line: the one written before for the same component, but for its step."""
    component = site.standing[planned.place].component
    key = (component.pk, id(planned))
    if key not in site.models:
        site.models[key] = _first_line(component, site.positions[planned.place], planned)
    model = site.models[key]
    line = Line.__new__(Line)
    line.__dict__.update({**model.__dict__, "id": site.shelf.next_key(Line), "step_id": step.pk})
    line._state = ModelState()
    line._state.fields_cache = {**model._state.fields_cache, "step": step}
    return line


def _first_line(component: Component, position: Position, planned: PlannedLine) -> Line:
    return Line(
        position=position,
        component=component,
        component_as_tested=as_tested(component, position),
        pressure_from=planned.side,
        **quantities(required_low_min=planned.low_min, required_low_max=planned.low_max, required_high=planned.high),
        hold_seconds=planned.hold_seconds,
        clause=planned.clause,
        working=planned.working,
        rules=planned.rules,
    )


def _known(row: Model, relation: str, rows: list[Any]) -> None:
    """Have a row know the rows that point to it, as if they had been fetched with it."""
    cache: dict[str, Any] = row.__dict__.setdefault("_prefetched_objects_cache", {})
    cache[relation] = rows


def _read(site: Site, held: _Held, step: Step, at: datetime, *, fails: bool) -> datetime:
    """Type the readings of a step in and judge them; returns when the high hold was over."""
    seconds = timedelta(seconds=hold_s(step.limits, recorded=False) + 20)
    low, high = _low_psi(step), _psi(step.limits["high"]["target"])
    starts, ends = (high + 60, high - 0.06 * high) if fails else (high + 60, high + 35)
    low_at = at + timedelta(minutes=3)
    high_at = low_at + seconds + timedelta(minutes=3)
    typed = (
        _typed(site, step, HoldPhase.LOW, low_at, seconds, f"{low:.0f} psi", f"{low - 5:.0f} psi", f"{low:.0f} psi"),
        _typed(site, step, HoldPhase.HIGH, high_at, seconds, f"{starts:.0f} psi", f"{ends:.0f} psi", ""),
    )
    held.readings.extend(typed)
    _known(step, "typed_readings", list(typed))
    rule = hold_rule(step.limits, recorded=False)
    step.evidence = Evidence.TYPED
    step.verdict = plain(verdicts.of_readings(_reading(typed[0]), _reading(typed[1]), rule, site.rig))
    step.outcome = Outcome.PASSED if step.verdict["passes"] else Outcome.FAILED
    step.concluded_at = verdicts.concluded_at(step.verdict)
    for line in step._prefetched_objects_cache["lines"]:  # type: ignore[attr-defined]
        line.outcome = step.outcome
    return high_at + seconds


def _low_psi(step: Step) -> float:
    low = step.limits["low"]
    return (_psi(low["min"]) + _psi(low["max"])) / 2


def _psi(limit: dict[str, Any]) -> float:
    pascal = to_si(float(limit["value"]), limit["unit"], Dimension.PRESSURE)
    return from_si(pascal, "psi", Dimension.PRESSURE)


def _typed(
    site: Site, step: Step, phase: str, at: datetime, lasts: timedelta, starts: str, ends: str, highest: str
) -> TypedReading:
    return TypedReading(
        pk=site.shelf.next_key(TypedReading),
        step=step,
        phase=phase,
        start_at=at,
        end_at=at + lasts,
        **quantities(
            start_pressure=measured(starts),
            end_pressure=measured(ends),
            highest_before=measured(highest) if highest else None,
        ),
        reason=READ_FROM,
    )


def _reading(typed: TypedReading) -> Reading:
    return Reading(
        start_at=typed.start_at,
        end_at=typed.end_at,
        start_pressure=typed.start_pressure.si,
        end_pressure=typed.end_pressure.si,
        highest_before=typed.highest_before.si if typed.highest_before else None,
    )


def _seal(site: Site, held: _Held, left: Sequence[Line]) -> None:
    """Sign the test by all its edition asks for, and seal it into the rig's chain."""
    record = held.record
    assert record.concluded_at is not None
    record.frozen_at = record.sealed_at = record.concluded_at + BEFORE_SIGNING
    content = _content(site, held, left)
    signed = sha256_of(site.phrases.canonical(content))
    at, given = record.frozen_at, list[str]()
    while still := open_seats(site.edition, given):
        role = next(one for one in SIGNERS if one.value in still[-1])
        held.signatures.append(_signature(site, record, role, at, signed))
        given.append(role.value)
        record.sealed_at, at = at, at + BETWEEN_SIGNATURES
    record.passed, record.previous_sha256 = not left, site.sealed
    content |= {
        "signatures": [_signed(site, signature) for signature in held.signatures],
        "sealed_at": Local.of(site.rig).moment(record.sealed_at),
        "previous_sha256": record.previous_sha256,
    }
    record.content = site.phrases.canonical(content)
    record.sha256 = site.sealed = sha256_of(record.content)


def _signature(site: Site, record: Record, role: SigningRole, at: datetime, signed: str) -> Signature:
    signer = site.crew[SIGNERS[role]]
    key = site.shelf.next_key(Signature)
    return Signature(
        pk=key, record=record, signer=signer, name=signer.name_shown, role=role.value, signed_at=at, sha256=signed
    )


def _signed(site: Site, signature: Signature) -> dict[str, Any]:
    return {
        "name": signature.name,
        "role": {"key": signature.role, "text": signature.get_role_display()},
        "signed_at": Local.of(site.rig).moment(signature.signed_at),
        "signed_sha256": signature.sha256,
    }


def _content(site: Site, held: _Held, left: Sequence[Line]) -> dict[str, Any]:
    """Return what is signed: the content of `documents.content` but for what the seal adds."""
    record, local = held.record, Local.of(site.rig)
    assert record.concluded_at is not None
    day = record.started_at.astimezone(site.rig.zone).date()
    by_key = {step.pk: step for step in held.steps}
    proved = proved_by(held.steps)
    return {
        "form": "pressure-test/1",
        "number": record.number,
        "kind": {"key": record.kind, "text": record.get_kind_display()},
        "rig": rig_content(site.rig),
        "stack": {"name": site.stack.name, "kind": choice_of(site.stack.kind, site.stack.get_kind_display())},
        "edition": edition_content(site.edition),
        "started_at": local.moment(record.started_at),
        "concluded_at": local.moment(record.concluded_at),
        "instruments": [instrument_content(use.as_used, day) for use in held.uses],
        "remarks": record.remarks,
        "supersedes": None,
        "rows": _rows(site, held),
        "software": f"Wellhold {settings.WELLHOLD_VERSION}",
        "section": section_content(record.section),
        "heading": heading_content(held.heading),
        "rules": rules_content(held.lines),
        "passed": not left,
        "open_lines": [open_line(line, by_key[line.step_id]) for line in left],
        "alarms": [],
        "steps": [_step(site, step, local, proved) for step in held.steps],
        "unproven": [],
        "files": [],
        "unassigned_holds": [],
    }


def _step(site: Site, step: Step, local: Local, proved: Mapping[int, int]) -> dict[str, Any]:
    lines = step._prefetched_objects_cache["lines"]  # type: ignore[attr-defined]
    _known(step, "lines", [])  # each line is copied once for all records it comes in
    content: dict[str, Any] = {**step_content(step, local=local, proved_by={})}
    _known(step, "lines", lines)
    content |= {key: plain(content[key]) for key in ("limits", "low", "high")}
    return content | {"lines": [_line_phrase(site, line, step, proved.get(line.pk)) for line in lines]}


def _line_phrase(site: Site, line: Line, step: Step, proved_by_step: int | None) -> str:
    key = (id(line.component_as_tested), id(line.working), line.outcome, proved_by_step)
    if key not in site.copies:
        site.copies[key] = line_content(line, proved_by_step, typed_hold(step))
    return site.phrases.of(site.copies[key])


def choice_of(key: str, text: str) -> dict[str, str]:
    """Return a choice with its words."""
    return {"key": key, "text": text}


def _rows(site: Site, held: _Held) -> dict[str, Any]:
    """Return which columns of the record's rows are hashed, and their hash, as `verification.rows_content` does."""
    rows: dict[type[Model], Sequence[Model]] = {
        PressureTest: [held.heading],
        InstrumentUse: held.uses,
        Step: held.steps,
        Line: held.lines,
        TypedReading: held.readings,
    }
    kept = {Record._meta.db_table: [_hashable(site, held.record)]}
    kept |= {
        model._meta.db_table: [_hashable(site, row) for row in rows.get(model, ())]
        for model, _ in HELD_ROWS["pressure"]
    }
    columns = {table: sorted(found[0]) for table, found in kept.items() if found}
    return {"columns": columns, "sha256": sha256_of(site.phrases.canonical(kept))}


def _hashable(site: Site, row: Model) -> dict[str, Any]:
    values = snapshot(row)
    values |= {name: site.phrases.of(values[name]) for name in WRITTEN_ONCE if name in values}
    return {name: value for name, value in values.items() if not (isinstance(row, Record) and name in NOT_HASHED)}


def _shelve(site: Site, held: _Held, paper: Paper) -> None:
    record = held.record
    for row in (held.heading, *held.uses, *held.steps, *held.lines, *held.readings, *held.signatures, record):
        site.shelf.put(row)
    assert record.sealed_at is not None
    kind = CertificateKind.CERTIFICATE if record.passed else CertificateKind.REPORT
    number = f"FLEET-{site.number:03d}-{record.number:06d}"
    site.shelf.put(
        Certificate(
            record=record,
            kind=kind,
            number=number,
            issued_at=record.sealed_at,
            sha256=paper.sha256,
            size=paper.size,
        )
    )
    after = {"passed": record.passed, "sha256": record.sha256}
    told(site, "record.sealed", record, record.sealed_at, after)
