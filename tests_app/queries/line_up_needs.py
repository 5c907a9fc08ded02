"""What a plan of line-ups can be asked to prove of a stack: each element from each side, with the pressure it needs."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from equipment.errors import Refused
from equipment.models import NOT_PRESSURE_TESTED, HoleSection, PositionGroup, Stack
from equipment.queries.pressure_systems import Contents, holding_sides
from equipment.queries.stacks import Standing, as_installed
from tests_app.models import PressureFrom, Record
from tests_app.queries.limits import limits_of
from tests_app.queries.line_up_copies import ProofCopy, shells_of
from tests_app.queries.requirements import OCCASIONS, Circumstances, Need, edition_of, required_for
from tests_app.queries.sides import sides_asked, sides_of
from tests_app.queries.unproven import never_proved

_TESTED: Final = frozenset(PositionGroup) - {PositionGroup.CONTROL}


@dataclass(frozen=True)
class Askable:
    """One element from one side, as a plan can be asked to prove it.

    Attributes:
        standing: the position and what stands in it.
        side: the side pressed on.
        is_asked: whether the rules ask for a test from this side.
        element: its name in the pressure system; empty where none stands for it.
        cavity: the cavity pressed from.
        need: what it must show; None where that can't be worked out.
        limits: the same as a step keeps it.
        refusal: why it can't be planned, with what to do; empty where it can.
    """

    standing: Standing
    side: PressureFrom
    is_asked: bool
    element: str = ""
    cavity: str = ""
    need: Need | None = None
    limits: Mapping[str, Any] | None = None
    refusal: str = ""

    @property
    def key(self) -> str:
        """Return what a form and a document call it by: ``12:below``."""
        return f"{self.standing.position.pk}:{self.side.value}"

    def copy(self) -> ProofCopy:
        """Return it as a plan keeps it. Call it only where there is no refusal."""
        assert self.need is not None
        assert self.limits is not None
        return {
            "element": self.element,
            "side": self.cavity,
            "position": self.standing.position.pk,
            "pressure_from": self.side.value,
            "component": str(self.standing.component),
            "high": dict(self.limits["high"]["target"]),
            "limits": dict(self.limits),
            "clause": self.need.required.clause,
            "working": list(self.need.working),
        }


def circumstances_for(
    stack: Stack, *, section: HoleSection | None, barrier: str, reason: str, at: datetime
) -> Circumstances:
    """Return the circumstances of a test that is planned. Raises NoRules where the rig has chosen none.

    Holds are those of a recorder the rules accept; how long they last without one stands beside.
    """
    standings = tuple(as_installed(stack, at=at))
    planned = Record(rig=stack.rig, stack=stack, started_at=at)
    return Circumstances(
        edition=edition_of(stack.rig),
        stack=stack,
        standings=standings,
        section=section,
        barrier=barrier,
        occasion=OCCASIONS[reason],
        recorded=True,
        never_proved=never_proved(planned, standings),
    )


def askable(contents: Contents, *, under: Circumstances) -> list[Askable]:
    """Return every element and side a plan can be asked to prove, top first, those that can't with the reason.

    Sides are those the rules ask for, and the others an element holds from. No query.
    """
    places = _places(contents, under.standings)
    return [
        _worked(one, side, is_asked, places.get(one.position.pk), under)
        for one in under.standings
        if _is_tested(one)
        for side, is_asked in _sides(one, places.get(one.position.pk), under)
    ]


_Place = tuple[str, tuple[str, str], frozenset[str]]
"""Name of an element, the cavities on its well side and its far side, and those it holds from."""


def _places(contents: Contents, standings: Iterable[Standing]) -> dict[int, _Place]:
    named: dict[int, _Place] = {
        element.position_id: (element.name, (element.well_side.name, element.far_side.name), holding_sides(element))
        for element in contents.elements
        if element.position_id is not None
    }
    # A shell is pressed on from inside alone, which counts as the side towards the well.
    shells = shells_of(contents, standings).items()
    return {**{pk: (name, (cavity, ""), frozenset({cavity})) for pk, (name, cavity) in shells}, **named}


def _is_tested(standing: Standing) -> bool:
    component = standing.component
    tested = component is not None and component.kind not in NOT_PRESSURE_TESTED
    return tested and standing.position.group in _TESTED


def _sides(standing: Standing, place: _Place | None, under: Circumstances) -> Iterator[tuple[PressureFrom, bool]]:
    assert standing.component is not None  # `_is_tested` lets nothing else through
    asked = sides_asked(standing, under=under)
    both = sides_of(standing.component.kind)
    held = [side for side, cavity in zip(both, place[1], strict=True) if cavity in place[2]] if place else []
    for side in both:
        # The usual side of what nothing is asked of is shown too: its line says why.
        if side in asked or side in held or (side == both[0] and not asked):
            yield side, side in asked


def _worked(
    standing: Standing, side: PressureFrom, is_asked: bool, place: _Place | None, under: Circumstances
) -> Askable:
    if place is None:
        return Askable(standing, side, is_asked, refusal=_NOT_DRAWN.format(standing.position.name))
    name, cavities, _ = place
    assert standing.component is not None
    cavity = cavities[sides_of(standing.component.kind).index(side)]
    try:
        need = required_for(standing, side, under=under)
        return Askable(standing, side, is_asked, name, cavity, need, limits_of([need]))
    except Refused as refused:
        return Askable(standing, side, is_asked, name, cavity, refusal=str(refused))


_NOT_DRAWN: Final = "No element of the pressure system stands for {}. Add it there first."
