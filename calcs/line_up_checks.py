"""What a pressure system and the proofs asked of it have to be before anything is reckoned of them.

Each fault is an InputError that names the value at fault as it stands in a document (``elements.3.between``).
"""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from calcs.errors import InputError
from calcs.lineups import Element, Proof, System

MOST_ELEMENTS: Final = 150
MOST_PROOFS: Final = 300
"""Several times what a subsea stack with every manifold on the rig has; more is a slip of whoever wrote the file."""
MOST_PIPE_STRINGS: Final = 12


def check_question(system: System, proofs: Sequence[Proof]) -> None:
    """Raise InputError where system or proofs can't be worked with."""
    check_system(system)
    check_proofs(system, proofs)


def check_system(system: System) -> None:
    """Raise InputError where the system does not hang together."""
    _check_size("elements", system.elements, MOST_ELEMENTS)
    _check_size("pipe_strings", system.pipe_strings, MOST_PIPE_STRINGS)
    _check_once("elements", [element.id for element in system.elements], "id")
    _check_once("pipe_strings", system.pipe_strings)
    for index, element in enumerate(system.elements):
        _check_element(system, element, f"elements.{index}")
    _check_ends(system)
    _check_named(system)
    _check_in_one_piece(system)


def check_proofs(system: System, proofs: Sequence[Proof]) -> None:
    """Raise InputError where a proof is asked of nothing, or of one element and side twice."""
    _check_size("proofs", proofs, MOST_PROOFS)
    elements = {element.id: element for element in system.elements}
    first: dict[tuple[str, str], int] = {}
    for index, proof in enumerate(proofs):
        path = f"proofs.{index}"
        if proof.element not in elements:
            raise InputError(f"{path}.element", f"There is no element '{proof.element}'.", "Name one of the elements.")
        between = elements[proof.element].between
        if proof.side not in between:
            raise InputError(
                f"{path}.from",
                f"'{proof.element}' does not touch '{proof.side}'.",
                f"Give {between[0]} or {between[1]}.",
            )
        _check_pressure(f"{path}.high", proof.high)
        earlier = first.setdefault((proof.element, proof.side), index)
        if earlier != index:
            raise InputError(path, f"This is proof {earlier + 1} once more.", "Ask once, with the higher pressure.")


def _check_element(system: System, element: Element, path: str) -> None:
    if not element.id.strip():
        raise InputError(f"{path}.id", "The element has no name.", "Give it one.")
    one, other = element.between
    if not one.strip() or not other.strip():
        raise InputError(f"{path}.between", f"A cavity of '{element.id}' has no name.", "Name both cavities.")
    if one == other:
        raise InputError(f"{path}.between", f"'{element.id}' joins '{one}' with itself.", "Name the cavity beyond it.")
    for side in sorted(element.holds_from - {one, other}):
        raise InputError(
            f"{path}.holds_from", f"'{element.id}' does not touch '{side}'.", f"Give {one}, {other}, both or none."
        )
    _check_pressure(f"{path}.rating", element.rating)
    for pipe in sorted((element.closes_on or frozenset()) - set(system.pipe_strings)):
        raise InputError(
            f"{path}.closes_on",
            f"'{element.id}' closes on '{pipe}', which is not among the pipe strings.",
            "Name it in pipe_strings, or take it out here.",
        )


def _check_ends(system: System) -> None:
    if not system.pump_points:
        raise InputError("pump_points", "There is no pump point.", "Name the cavity a pump can be lined up to.")
    if not system.vents:
        raise InputError("vents", "There is no vent, so that no leak could be seen.", "Name a cavity open to the air.")
    _check_once("pump_points", system.pump_points)
    _check_once("vents", system.vents)
    for index, point in enumerate(system.pump_points):
        if point in system.vents:
            raise InputError(
                f"pump_points.{index}",
                f"'{point}' is a vent too: no pressure stands there.",
                "Take it out of one list.",
            )


def _check_named(system: System) -> None:
    """Refuse whatever names a cavity or an element that no element makes known."""
    cavities = {cavity for element in system.elements for cavity in element.between}
    _check_known("pump_points", system.pump_points, cavities, "cavity")
    _check_known("vents", system.vents, cavities, "cavity")
    _check_known("cavity_ratings", system.cavity_ratings, cavities, "cavity", keyed=True)
    for cavity, rating in system.cavity_ratings.items():
        _check_pressure(f"cavity_ratings.{cavity}", rating)
    known = {element.id for element in system.elements}
    _check_known("normally_closed", sorted(system.normally_closed), known, "element")


def _check_in_one_piece(system: System) -> None:
    """Refuse a system of which a part can't be reached from its first cavity, whatever is opened."""
    beside: dict[str, set[str]] = {}
    for element in system.elements:
        one, other = element.between
        beside.setdefault(one, set()).add(other)
        beside.setdefault(other, set()).add(one)
    cavities = system.cavities
    reached, waiting = {cavities[0]}, [cavities[0]]
    while waiting:
        fresh = beside[waiting.pop()] - reached
        reached |= fresh
        waiting.extend(fresh)
    for index, element in enumerate(system.elements):
        if element.between[0] not in reached:
            raise InputError(
                f"elements.{index}.between",
                f"'{element.id}' is not joined to the rest of the system.",
                f"Join {element.between[0]} or {element.between[1]} to it, or reckon the two parts one by one.",
            )


def _check_size(field: str, given: Sequence[object], most: int) -> None:
    if not given:
        raise InputError(field, "There is none.", "Give one at least.")
    if len(given) > most:
        raise InputError(field, f"There are {len(given)}, more than the {most} that can be reckoned.", "Give fewer.")


def _check_once(field: str, names: Sequence[str], part: str = "") -> None:
    counted = Counter(names)
    for index, name in enumerate(names):
        if counted[name] > 1 and name in names[:index]:
            path = f"{field}.{index}.{part}" if part else f"{field}.{index}"
            raise InputError(path, f"'{name}' stands there twice.", "Give each a name of its own.")


def _check_known(field: str, names: Iterable[str], known: set[str], what: str, *, keyed: bool = False) -> None:
    for index, name in enumerate(names):
        if name not in known:
            path = f"{field}.{name if keyed else index}"
            raise InputError(path, f"No element makes a {what} '{name}' known.", f"Name a {what} of the elements.")


def _check_pressure(field: str, pressure: float) -> None:
    if not (math.isfinite(pressure) and pressure > 0):
        raise InputError(field, "A pressure over zero is expected.", "Give one, with its unit.")
