"""The pressure system and the proofs of a plan as plain JSON, and back: a plan stays true of what it was made for.

What holds pressure and shuts nothing (a spool, a connector, a line) is called a shell. It is proved whenever the cavity
it belongs to is pressurised, since a leak of it is seen from outside; it is no element of the system, which could be
opened.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from calcs.line_up_verifier import Shown, simulate
from calcs.lineups import Element, LineUp, Proof, System
from calcs.units import Dimension, to_si
from equipment.models import ElementKind
from equipment.queries.pressure_systems import Contents, system_in
from equipment.queries.stacks import Standing
from tests_app.models import Barrier, LineUpStep
from tests_app.queries.requirements import Circumstances, well_parts

SystemCopy = dict[str, Any]
ProofCopy = dict[str, Any]


def shells_of(contents: Contents, standings: Iterable[Standing]) -> dict[int, tuple[str, str]]:
    """Return by position what holds pressure and shuts nothing: the name it goes by, and its cavity."""
    around = {pk: cavity.name for cavity in contents.cavities for pk in contents.limited_by.get(cavity.pk, ())}
    taken = {element.name for element in contents.elements}
    named = {one.position.pk: one.position.name for one in standings if one.component is not None}
    return {
        pk: (f"{named[pk]} (body)" if named[pk] in taken else named[pk], cavity)
        for pk, cavity in around.items()
        if pk in named
    }


def system_copy(contents: Contents, proofs: Iterable[ProofCopy], *, under: Circumstances) -> SystemCopy:
    """Return the pressure system as it stands, for a test of these proofs in these circumstances.

    Raises Refused naming what has no rating, or what is not on file of the well.
    """
    system = _sparing_annulars(_with_barrier(system_in(contents), under), [proof_from(copy) for copy in proofs])
    shells = dict(shells_of(contents, under.standings).values())
    return {**_written(system), "shells": shells}


def _with_barrier(system: System, under: Circumstances) -> System:
    """Return the system with what closes the bore below: the well limits the bore, and without a plug it ends there."""
    plugs = [element for element in system.elements if element.kind == ElementKind.TEST_PLUG]
    limits = [part.limit_gauge for part in well_parts(under)]
    ratings = dict(system.cavity_ratings)
    for over in (plug.between[1] for plug in plugs):
        known = [*limits, *([ratings[over]] if over in ratings else [])]
        ratings |= {over: min(known)} if known else {}
    bounded = replace(system, cavity_ratings=ratings)
    return _without(bounded, plugs) if under.barrier == Barrier.NONE else bounded


def _sparing_annulars(system: System, proofs: Iterable[Proof]) -> System:
    """Return the system with no annular pressed on higher than its own test.

    Rules test annulars under their rating to spare the packer (common practice); a step that proves one beside a ram
    would press on it with the ram's pressure.
    """
    needed: dict[str, float] = {}
    for proof in proofs:
        needed[proof.element] = max(proof.high, needed.get(proof.element, 0.0))
    spared = tuple(
        replace(one, rating=min(one.rating, needed[one.id]))
        if one.kind == ElementKind.ANNULAR and one.id in needed
        else one
        for one in system.elements
    )
    return replace(system, elements=spared)


def _without(system: System, gone: Iterable[Element]) -> System:
    """Return the system without some elements and the cavities only they joined to it."""
    left = tuple(element for element in system.elements if element not in tuple(gone))
    known = {cavity for element in left for cavity in element.between}
    return replace(
        system,
        elements=left,
        pump_points=tuple(name for name in system.pump_points if name in known),
        vents=tuple(name for name in system.vents if name in known),
        cavity_ratings={name: rating for name, rating in system.cavity_ratings.items() if name in known},
        normally_closed=system.normally_closed & {element.id for element in left},
    )


def _written(system: System) -> SystemCopy:
    return {
        "elements": [_element_written(element) for element in system.elements],
        "pump_points": list(system.pump_points),
        "vents": list(system.vents),
        "cavity_ratings": dict(system.cavity_ratings),
        "pipe_strings": list(system.pipe_strings),
        "normally_closed": sorted(system.normally_closed),
    }


def _element_written(element: Element) -> dict[str, Any]:
    return {
        "id": element.id,
        "kind": element.kind,
        "between": list(element.between),
        "holds_from": sorted(element.holds_from),
        "rating": element.rating,
        "closes_on": None if element.closes_on is None else sorted(element.closes_on),
        "passes_from": element.passes_from,
    }


def system_from(copy: Mapping[str, Any]) -> System:
    """Return the pressure system a plan was made for."""
    return System(
        elements=tuple(_element_from(one) for one in copy["elements"]),
        pump_points=tuple(copy["pump_points"]),
        vents=tuple(copy["vents"]),
        cavity_ratings=dict(copy["cavity_ratings"]),
        pipe_strings=tuple(copy["pipe_strings"]),
        normally_closed=frozenset(copy["normally_closed"]),
    )


def _element_from(copy: Mapping[str, Any]) -> Element:
    one, other = copy["between"]
    return Element(
        id=copy["id"],
        kind=copy["kind"],
        between=(one, other),
        holds_from=frozenset(copy["holds_from"]),
        rating=copy["rating"],
        closes_on=None if copy["closes_on"] is None else frozenset(copy["closes_on"]),
        passes_from=copy.get("passes_from"),
    )


def proof_from(copy: Mapping[str, Any]) -> Proof:
    """Return a proof asked of a plan as the calculations take it."""
    return Proof(copy["element"], copy["side"], to_si(**copy["high"], dimension=Dimension.PRESSURE))


def line_up_from(step: LineUpStep) -> LineUp:
    """Return a step of a plan as the calculations take it."""
    return LineUp(step.pump_point, step.pipe, step.pressure.si, frozenset(step.closed))


def shown_by(copy: Mapping[str, Any], system: System, line_up: LineUp) -> Shown:
    """Return what the verifier says of a line-up; the shells of the cavities it presses on are among what it shows."""
    shown = simulate(system, line_up)
    if shown.faults:
        return shown
    shells = {(name, cavity) for name, cavity in copy["shells"].items() if cavity in shown.pressurised}
    return replace(shown, shows=shown.shows | shells)


def unproved_by(
    copy: Mapping[str, Any], system: System, proofs: Iterable[Proof], line_ups: Iterable[LineUp]
) -> list[Proof]:
    """Return the proofs that none of the line-ups gives at their pressure or more."""
    given = [(line_up.pressure, shown_by(copy, system, line_up).shows) for line_up in line_ups]
    return [
        proof
        for proof in proofs
        if not any((proof.element, proof.side) in shows and pressure >= proof.high for pressure, shows in given)
    ]
