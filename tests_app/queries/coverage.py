"""By which step of which signed test each barrier of a stack was last proved, from each side, and how high."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, NamedTuple

from calcs.rules import Occasion
from calcs.units import Quantity
from equipment.models import NOT_PRESSURE_TESTED, Component, Position, PositionGroup, Stack
from equipment.queries.stacks import Standing, as_installed
from equipment.queries.wells import section_drilled
from tests_app.errors import NoRules
from tests_app.models import Barrier, Line, Outcome, PressureFrom, Record, RecordKind, Step
from tests_app.queries.corrections import keys_corrected
from tests_app.queries.limits import quantity_of
from tests_app.queries.requirements import Circumstances, default_side, edition_of
from tests_app.queries.sides import sides_asked

_PROVED_BY_HOLD: Final = frozenset(PositionGroup) - {PositionGroup.CONTROL}


class _Shown(NamedTuple):
    """One line of a signed test."""

    position_id: int
    component_id: int
    pressure_from: str
    outcome: str
    step_id: int
    order: int
    record_id: int
    concluded_at: datetime


@dataclass(frozen=True)
class Covered:
    """One barrier from one side, and how it was last proved since it stands there.

    Attributes:
        position: where it stands.
        component: what stands there.
        side: the side pressed on.
        is_asked: whether the rig's rules ask for a test from this side.
        step: the last step that proved it, its record with it; None where none did.
        failed: the step of a later signed test that it did not pass, if any.
    """

    position: Position
    component: Component
    side: PressureFrom
    is_asked: bool
    step: Step | None
    failed: Step | None

    @property
    def held(self) -> Quantity | None:
        """Return the pressure it was held at, at least."""
        return quantity_of(self.step.limits["high"]["target"]) if self.step else None

    @property
    def proved_at(self) -> datetime | None:
        """Return when the test that proved it was over."""
        return self.step.record.concluded_at if self.step else None


def coverage_of(
    stack: Stack, *, at: datetime, closable: Mapping[int, Sequence[PressureFrom]] | None = None
) -> list[Covered]:
    """Return every barrier and side of a stack as it stands, top first. A constant number of queries.

    Sides are the usual one, those the rules ask for, those some test pressed on, and, by position, those `closable`
    names. What proved another component, or this one before it stood here, proves nothing here.
    """
    standings = [one for one in as_installed(stack, at=at) if _is_barrier(one)]
    proofs = _proofs(stack, standings, at)
    asked = _asked(stack, standings, at)
    steps = _steps({shown.step_id for last, failed in proofs.values() for shown in (last, failed) if shown})
    return [
        _covered(one, side, side in asked.get(one.position.pk, ()), proofs.get((one.position.pk, side)), steps)
        for one in standings
        for side in _sides(one, asked, proofs, (closable or {}).get(one.position.pk, ()))
    ]


def _is_barrier(standing: Standing) -> bool:
    component = standing.component
    proved_by_hold = component is not None and component.kind not in NOT_PRESSURE_TESTED
    return proved_by_hold and standing.position.group in _PROVED_BY_HOLD


_Proofs = Mapping[tuple[int, str], tuple[_Shown | None, _Shown | None]]


def _sides(
    standing: Standing, asked: Mapping[int, tuple[PressureFrom, ...]], proofs: _Proofs, closable: Iterable[PressureFrom]
) -> list[PressureFrom]:
    position, component = standing.position, standing.component
    assert component is not None  # `_is_barrier` lets nothing else through
    tested = [PressureFrom(side) for key, side in proofs if key == position.pk]
    found = {default_side(component.kind), *asked.get(position.pk, ()), *closable, *tested}
    return [side for side in PressureFrom if side in found]


def _covered(
    standing: Standing,
    side: PressureFrom,
    is_asked: bool,
    proof: tuple[_Shown | None, _Shown | None] | None,
    steps: Mapping[int, Step],
) -> Covered:
    assert standing.component is not None
    last, failed = proof or (None, None)
    return Covered(
        position=standing.position,
        component=standing.component,
        side=side,
        is_asked=is_asked,
        step=steps[last.step_id] if last else None,
        failed=steps[failed.step_id] if failed else None,
    )


def _asked(stack: Stack, standings: Sequence[Standing], at: datetime) -> dict[int, tuple[PressureFrom, ...]]:
    """Return by position the sides the rig's rules ask for; of a rig without rules none."""
    try:
        edition = edition_of(stack.rig)
    except NoRules:
        return {}
    under = Circumstances(
        edition=edition,
        stack=stack,
        standings=tuple(standings),
        section=section_drilled(stack.rig, at=at),
        barrier=Barrier.PLUG,
        occasion=Occasion.INTERVAL,
        recorded=False,
    )
    return {one.position.pk: sides_asked(one, under=under) for one in standings}


def _proofs(stack: Stack, standings: Sequence[Standing], at: datetime) -> _Proofs:
    """Return by position and side the last line that passed, and a later one that did not. Two queries."""
    here = {
        (one.position.pk, one.component.pk): one.installation.installed_at
        for one in standings
        if one.component is not None and one.installation is not None
    }
    lines = _final(line for line in _lines(stack, at) if _counts(line, here))
    by_side: dict[tuple[int, str], list[_Shown]] = defaultdict(list)
    for line in sorted(lines, key=lambda line: (line.concluded_at, line.record_id)):
        by_side[line.position_id, line.pressure_from].append(line)
    return {key: _last_and_failed(lines) for key, lines in by_side.items()}


def _lines(stack: Stack, at: datetime) -> Iterator[_Shown]:
    corrected = keys_corrected(Record.objects.filter(rig=stack.rig_id, kind=RecordKind.PRESSURE))
    rows = Line.objects.filter(
        position__stack=stack,
        step__record__stack=stack,
        step__record__sealed_at__isnull=False,
        step__record__concluded_at__lte=at,
    ).exclude(step__record__in=corrected)
    columns = ("position_id", "component_id", "pressure_from", "outcome", "step_id", "step__order", "step__record_id")
    named = rows.order_by().values_list(*columns, "step__record__concluded_at")
    return (_Shown(*row) for row in named.iterator(chunk_size=5_000))


def _counts(line: _Shown, here: Mapping[tuple[int, int], datetime]) -> bool:
    since = here.get((line.position_id, line.component_id))
    return since is not None and line.concluded_at >= since


def _final(lines: Iterable[_Shown]) -> Iterable[_Shown]:
    """Return of each test the line of the last step that proves an element from a side: a retest replaces it."""
    last: dict[tuple[int, int, str], _Shown] = {}
    for line in sorted(lines, key=lambda line: line.order):
        last[line.record_id, line.position_id, line.pressure_from] = line
    return last.values()


def _last_and_failed(lines: Sequence[_Shown]) -> tuple[_Shown | None, _Shown | None]:
    """Return of lines in the order of time the last that passed, and the latest after it that did not."""
    passed = max((place for place, line in enumerate(lines) if line.outcome == Outcome.PASSED), default=-1)
    later = [line for line in lines[passed + 1 :] if line.outcome == Outcome.FAILED]
    return (lines[passed] if passed >= 0 else None), (later[-1] if later else None)


def _steps(keys: set[int]) -> dict[int, Step]:
    found = Step.objects.filter(pk__in=keys).select_related("record").defer("verdict", "record__content")
    return {step.pk: step for step in found}
