"""What is not right about a pressure system as it is drawn: what stops planning, and what makes a plan doubtful.

All of it is common practice; the remedy stands with each.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from calcs.lineups import NO_PIPE
from equipment.models import (
    Cavity,
    ClosesWith,
    Component,
    ComponentKind,
    ElementKind,
    Position,
    SystemElement,
)
from equipment.queries.pressure_systems import BLIND_KINDS, PREVENTER_KINDS, Contents
from equipment.queries.stacks import positions_of
from equipment.queries.system_places import OUT_OF_REACH

_ON_STRING: Final = frozenset({ElementKind.KELLY_VALVE, ElementKind.SAFETY_VALVE, ElementKind.INSIDE_BOP})
_SIZED: Final = frozenset({ElementKind.PIPE_RAM, ElementKind.VARIABLE_BORE_RAM})
_MOST_NAMED: Final = 4

Subject = Cavity | SystemElement | Position | None


@dataclass(frozen=True)
class Finding:
    """One thing that is not right.

    Attributes:
        subject: what it is about; None for the system as a whole.
        reason: what is wrong, in words.
        remedy: what to do, in words.
        stops: whether no plan can be made before it is mended.
    """

    subject: Subject
    reason: str
    remedy: str
    stops: bool = False


def findings(contents: Contents) -> list[Finding]:
    """Return all that is not right, what stops planning first. One query more."""
    found = [
        *_ways_in_and_out(contents),
        *_in_pieces(contents),
        *_ratings(contents),
        *_dead_ends(contents),
        *_check_valves(contents),
        *_pipe(contents),
        *_string(contents),
        *_positions(contents),
    ]
    return sorted(found, key=lambda finding: not finding.stops)


def _ways_in_and_out(contents: Contents) -> Iterator[Finding]:
    if not any(cavity.is_pump_point for cavity in contents.cavities):
        yield Finding(
            None,
            "No cavity is a pump point.",
            "Mark the cavities a pump can be lined up to, such as the kill line.",
            True,
        )
    if not any(cavity.is_vent for cavity in contents.cavities):
        yield Finding(
            None,
            "No cavity is open to the air, so no leak would ever be seen.",
            "Mark those that are, such as the bell nipple and the separator.",
            True,
        )
    if not any(element.kind == ElementKind.TEST_PLUG for element in contents.elements):
        yield Finding(
            None,
            "No test plug closes the well beneath the lowest preventer.",
            "Add it, or let the lowest cavity be the well itself if you test against the casing.",
        )


def _touching(contents: Contents, cavity: Cavity) -> list[SystemElement]:
    return [one for one in contents.elements if cavity.pk in (one.well_side_id, one.far_side_id)]


def _in_pieces(contents: Contents) -> Iterator[Finding]:
    """Yield a finding for every part that is not joined to the largest."""
    pieces = sorted(_pieces(contents), key=len, reverse=True)
    for piece in pieces[1:]:
        cavities = [cavity for cavity in contents.cavities if cavity.pk in piece]
        alone = "No element touches it." if len(cavities) == 1 else f"Nothing joins {_named(cavities)} to the rest."
        yield Finding(cavities[0], alone, "Add the element that stands between, or remove what is not there.", True)


def _pieces(contents: Contents) -> list[set[int]]:
    pieces = [{cavity.pk} for cavity in contents.cavities]
    for element in contents.elements:
        sides = {element.well_side_id, element.far_side_id}
        joined = [piece for piece in pieces if piece & sides]
        pieces = [piece for piece in pieces if not piece & sides]
        pieces.append(set().union(*joined))
    return pieces


def _named(cavities: Iterable[Cavity]) -> str:
    names = [cavity.name for cavity in cavities]
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return f"{', '.join(names[:_MOST_NAMED])}{more}"


def _ratings(contents: Contents) -> Iterator[Finding]:
    for element in contents.elements:
        component = contents.component_of(element)
        if contents.rating_of(element) is None:
            remedy = "Give its component a rated working pressure." if component else "Give its rating here."
            yield Finding(element, "No rating is known of it.", remedy, True)
        elif element.position is not None and component is None:
            yield Finding(
                element, "No component stands in its position.", "Install one: a test of it would have no line."
            )
        if element.position is not None and element.position.kind != element.kind:
            label = ComponentKind(element.position.kind).label.lower()
            yield Finding(element, f"Its position is for another kind: {label}.", "Let both say the same.")


def _dead_ends(contents: Contents) -> Iterator[Finding]:
    for cavity in contents.cavities:
        touching = _touching(contents, cavity)
        if len(touching) == 1 and not cavity.is_vent and not cavity.is_pump_point:
            yield Finding(
                cavity,
                f"It ends there: a leak of {touching[0].name} into it would not be seen.",
                "Mark it as open to the air if it drains, or add what closes its other end.",
            )


def _check_valves(contents: Contents) -> Iterator[Finding]:
    """Yield a finding where a leak could drain through a check valve alone, against which it can't run."""
    for element in contents.elements:
        if element.kind != ElementKind.CHECK_VALVE or element.well_side.is_vent:
            continue
        others = [one for one in _touching(contents, element.well_side) if one.pk != element.pk]
        if len(others) == 1:
            yield Finding(
                element,
                f"A leak of {others[0].name} would run against it and not be seen.",
                "Hold it open or take its inside out for that step, or add the drain that stands before it.",
            )


def _pipe(contents: Contents) -> Iterator[Finding]:
    if not contents.system.pipe_strings:
        yield Finding(None, "No pipe is named that can stand in the hole.", "Name the sizes you test on, and none.")
        return
    for element in contents.elements:
        if element.kind not in PREVENTER_KINDS:
            continue
        component = contents.component_of(element)
        if not contents.closes_on(element):
            missing = "an empty hole" if element.kind in BLIND_KINDS else _sizes(component)
            yield Finding(
                element, f"It closes on {missing}, which is not among the pipe.", "Add that to the pipe in the hole."
            )
        elif element.kind in _SIZED and component is not None and not _is_sized(component):
            yield Finding(
                element,
                "The sizes of pipe it closes on are not on file: it is taken to close on any.",
                f"Enter them for {component}.",
            )


def _is_sized(component: Component) -> bool:
    return component.closes_on_smallest is not None or component.closes_on_largest is not None


def _sizes(component: Component | None) -> str:
    smallest = getattr(component, "closes_on_smallest", None)
    largest = getattr(component, "closes_on_largest", None)
    known = [str(size) for size in (smallest, largest) if size is not None]
    return f"pipe of {' to '.join(dict.fromkeys(known))}" if known else "pipe"


def _string(contents: Contents) -> Iterator[Finding]:
    """Yield a finding where a step without pipe could take a valve on the string for closed."""
    if NO_PIPE not in contents.system.pipe_strings:
        return
    for element in contents.elements:
        if element.kind in _ON_STRING and element.closes_with == ClosesWith.ANY:
            yield Finding(
                element,
                "A step without pipe could be planned that counts on it.",
                "Say that it closes with pipe in the hole only.",
            )


def _positions(contents: Contents) -> Iterator[Finding]:
    """Yield a finding for every position that pressure reaches and the system does not know."""
    standing_for = {element.position_id for element in contents.elements}
    bounding = {key for keys in contents.limited_by.values() for key in keys}
    for position in positions_of(contents.system.stack):
        if position.group in OUT_OF_REACH or position.pk in standing_for | bounding:
            continue
        if position.kind in ElementKind.values:
            yield Finding(position, "No element stands for this position.", "Add it, or its test can't be planned.")
        else:
            yield Finding(
                position, "The rating of what stands there bounds no cavity.", "Name it with the cavity it belongs to."
            )
