"""What a test must show: the pressures each element needs, and what a step that proves several is held to.

The rules come from the edition of the record, the figures from the components and the hole section. The
pressure never passes the weakest part it reaches. All pressures are gauge, in Pa; times in s.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Final

from calcs.errors import InputError
from calcs.pressures import Part, weakest
from calcs.requirements import Approval, RequiredPressures, required_pressures
from calcs.rule_words import high_words, hold_words, low_words
from calcs.rules import Choice, Confidence, Edition, Occasion, Side, Subject, choose
from calcs.rules import Position as Place
from calcs.units import Dimension, GaugePressure, System
from calcs.working import Amount
from calcs.working import Step as WorkingStep
from equipment.errors import Refused
from equipment.models import (
    RAM_KINDS,
    ComponentKind,
    HoleSection,
    Instrument,
    InstrumentKind,
    Position,
    PositionGroup,
    Rig,
    Stack,
    StackKind,
)
from equipment.queries.stacks import Standing, as_installed, position_roles
from tests_app import rulebook
from tests_app.errors import NoRules
from tests_app.models import Barrier, PressureFrom, Programme, Record, TestReason
from tests_app.queries.unproven import never_proved

LONGEST_CHART_HOURS: Final = 1
"""A chart is taken for an eligible recorder up to this (old 30 CFR 250.448(d): a 1-hour chart)."""

OCCASIONS: Final[Mapping[str, Occasion]] = {
    TestReason.INSTALLATION: Occasion.INSTALLED,
    TestReason.INTERVAL: Occasion.INTERVAL,
    TestReason.AFTER_REPAIR: Occasion.REPAIRED,
    TestReason.BEFORE_DRILLING_OUT: Occasion.BEFORE_DRILL_OUT,
    TestReason.STUMP: Occasion.STUMP,
    TestReason.LANDED: Occasion.LANDED,
    TestReason.OTHER: Occasion.INTERVAL,
}

OWN_RWP: Final = "RWP of the component"
_SIDES: Final[Mapping[str, Side]] = {PressureFrom.WELL_SIDE: Side.INSIDE, PressureFrom.FAR_SIDE: Side.OUTSIDE}
_AT_SURFACE_GROUPS: Final = frozenset({PositionGroup.MANIFOLD, PositionGroup.DRIVE, PositionGroup.STRING})
_CLOSED_FROM_BELOW: Final = RAM_KINDS | {ComponentKind.ANNULAR, ComponentKind.CONNECTOR, ComponentKind.DRILLING_SPOOL}


@dataclass(frozen=True)
class Circumstances:
    """What of a test decides the required pressures, beside the element itself.

    Attributes:
        edition: the rules it is judged by.
        stack: the stack tested.
        standings: every position of it with what stood there when the test began.
        section: the hole section it is made for, None on the stump.
        barrier: what closes the bore below (see `Barrier`).
        occasion: why the test is made.
        recorded: whether a recorder the rules accept for a shorter hold was used.
        never_proved: keys of the components that passed no test since they were installed here: they owe the one
            on installation, whatever the reason of this one.
        answers: what was found out already.
    """

    edition: Edition
    stack: Stack
    standings: tuple[Standing, ...]
    section: HoleSection | None
    barrier: str
    occasion: Occasion
    recorded: bool
    never_proved: frozenset[int] = frozenset()
    answers: "Answers" = field(default_factory=lambda: Answers(), compare=False, repr=False)


@dataclass
class Answers:
    """What was found out for one stack, carried on to every question asked in changed circumstances.

    Attributes:
        of: the positions the roles are those of.
        roles: the role of each position, by its key.
        choices: the rules chosen, or why none were, by edition and subject.
    """

    of: tuple[Standing, ...] = ()
    roles: Mapping[int, str] = field(default_factory=dict)
    choices: dict[tuple[int, Subject], Choice | InputError] = field(default_factory=dict)
    editions: list[Edition] = field(default_factory=list)

    def role(self, position: Position, standings: tuple[Standing, ...]) -> str:
        """Return the role of a position among those of its stack."""
        if self.of is not standings:
            self.of, self.roles = standings, position_roles([one.position for one in standings])
        return self.roles.get(position.pk, "")

    def chosen(self, edition: Edition, subject: Subject) -> Choice:
        """Return the rules that apply; raises InputError where none does. Elements of a kind are asked for alike."""
        key = (id(edition), subject)
        if key not in self.choices:
            self.editions.append(edition)  # as long as it is kept no other has its id
            try:
                self.choices[key] = choose(edition, subject)
            except InputError as error:
                self.choices[key] = error
        found = self.choices[key]
        if isinstance(found, InputError):
            raise found.with_traceback(None)
        return found


@dataclass(frozen=True)
class Need:
    """What one element must show.

    Attributes:
        standing: the element and the component in it.
        pressure_from: the side pressed on.
        required: low band, high pressure, holds and their working.
        hold_unrecorded: the high hold where readings are typed in, s: a shorter one needs a recorder.
        low_hold_unrecorded: the low hold then, s; None where no low test is asked.
        parts: the parts the pressure reaches, with their limits.
        working: how each figure came about, line by line, in the rig's units.
        rules: the clauses used: id, clause, words and confidence of each.
    """

    standing: Standing
    pressure_from: str
    required: RequiredPressures
    hold_unrecorded: float
    low_hold_unrecorded: float | None
    parts: tuple[Part, ...]
    working: tuple[str, ...]
    rules: tuple[dict[str, str], ...]


def edition_of(rig: Rig) -> Edition:
    """Return the edition the rig tests by.

    Raises NoRules while none is chosen, or when the one chosen is not in the rule book: never a default, since
    nothing may be judged, due or in date by rules nobody chose.
    """
    programme = Programme.objects.filter(rig=rig).first()
    if programme is None:
        raise NoRules(f"No rules are chosen for {rig.name}.")
    try:
        return rulebook.edition(programme.edition)
    except InputError as error:
        raise NoRules(f"The rules chosen for {rig.name}, {programme.edition}, are not in this rule book.") from error


def default_side(kind: str) -> PressureFrom:
    """Return the side an element of this kind is proved from: rams and annulars from below, valves from the well."""
    return PressureFrom.BELOW if kind in _CLOSED_FROM_BELOW else PressureFrom.WELL_SIDE


def circumstances_of(record: Record) -> Circumstances:
    """Return the circumstances of a test, as it stands in the database. A constant number of queries."""
    uses = record.instrument_uses.select_related("instrument")
    day = record.started_at.astimezone(record.rig.zone).date()
    heading = record.pressure_test
    standings = tuple(as_installed(record.stack, at=record.started_at))
    return Circumstances(
        edition=rulebook.edition(record.edition),
        stack=record.stack,
        standings=standings,
        section=record.section,
        barrier=heading.barrier,
        occasion=OCCASIONS[heading.reason],
        recorded=any(is_eligible_recorder(use.instrument, on=day) for use in uses),
        never_proved=never_proved(record, standings),
    )


def is_eligible_recorder(instrument: Instrument, *, on: date) -> bool:
    """Tell whether an instrument lets the rules' shorter hold apply: a digital recorder or a short chart, in date."""
    if instrument.calibration_due_on is None or instrument.calibration_due_on < on:
        return False
    if instrument.kind == InstrumentKind.DIGITAL_RECORDER:
        return True
    hours = instrument.chart_hours
    return instrument.kind == InstrumentKind.CHART_RECORDER and hours is not None and hours <= LONGEST_CHART_HOURS


def choice_for(standing: Standing, pressure_from: str, *, under: Circumstances) -> Choice:
    """Return the rules that apply to an element; raises InputError naming the field no rule was found for."""
    component = standing.component
    kind = component.kind if component else standing.position.kind
    role = under.answers.role(standing.position, under.standings)
    at_surface = under.stack.kind == StackKind.SUBSEA and standing.position.group in _AT_SURFACE_GROUPS
    subject = Subject(
        kind=kind,
        stack="subsea" if under.stack.kind == StackKind.SUBSEA else "surface",
        position=Place.SURFACE_EQUIPMENT if at_surface else role,
        side=_SIDES.get(pressure_from, Side.NONE),
        occasion=under.occasion,
    )
    return under.answers.chosen(under.edition, subject)


def _with_owed(choice: Choice, standing: Standing, pressure_from: str, under: Circumstances) -> tuple[Choice, str]:
    """Return the choice with the rules of the test on installation where that is owed, and what to say of it."""
    component = standing.component
    own = (Occasion.INSTALLED, Occasion.STUMP, *((Occasion.LANDED,) if under.stack.kind == StackKind.SUBSEA else ()))
    if component is None or component.pk not in under.never_proved or choice.exempt or under.occasion in own:
        return choice, ""
    try:
        owed = choice_for(standing, pressure_from, under=replace(under, occasion=Occasion.INSTALLED))
    except InputError:
        return choice, ""
    more = tuple(rule for rule in owed.pressure_rules if rule not in choice.rules)
    if not more:
        return choice, ""
    return replace(choice, rules=(*choice.rules, *more)), f"{_OWED} ({'; '.join(rule.clause for rule in more)})."


_OWED: Final = (
    "It passed no signed test since it was installed here: the test on installation is owed as well, and the stricter "
    "figures count"
)


def required_for(standing: Standing, pressure_from: str, *, under: Circumstances) -> Need:
    """Return what an element must show, with its working.

    Raises Refused naming `lines` when nothing stands there, its rating is not on file, the rules exempt it,
    the pressure they leave to an approval is not on file, or the casing it would be tested against has no limit there.
    """
    component = standing.component
    if component is None:
        raise Refused("lines", f"{standing.position} is empty: nothing stood there when the test began.", _INSTALL)
    if component.rated_working_pressure is None:
        raise Refused("lines", f"{component} has no rated working pressure on file.", _ON_FILE)
    parts = exposed_parts(standing, under=under)
    try:
        choice, owed = _with_owed(choice_for(standing, pressure_from, under=under), standing, pressure_from, under)
        required = _worked(choice, standing, parts, under)
        unrecorded = _worked(choice, standing, parts, replace(under, recorded=False))
    except InputError as error:
        remedy = _ON_APPROVAL if error.field == "approval" else error.remedy
        raise Refused("lines", f"{standing.position}: {error.reason}", remedy) from error
    return Need(
        standing=standing,
        pressure_from=pressure_from,
        required=required,
        hold_unrecorded=unrecorded.hold,
        low_hold_unrecorded=unrecorded.low_hold,
        parts=parts,
        working=(*_working(required, parts, under), *([owed] if owed else [])),
        rules=_rules(required),
    )


def high_needed(standing: Standing, pressure_from: str, *, under: Circumstances) -> float:
    """Return the high pressure an element must be held at, gauge in Pa, without its working.

    Raises Refused as `required_for` does, and InputError naming a figure its rule needs and lacks.
    """
    component = standing.component
    if component is None or component.rated_working_pressure is None:
        raise Refused("lines", f"{component or standing.position} has no rated working pressure on file.", _ON_FILE)
    choice = choice_for(standing, pressure_from, under=under)
    return _worked(choice, standing, exposed_parts(standing, under=under), under).high_gauge


_ON_FILE: Final = "Enter it on its page."
_ON_APPROVAL: Final = (
    "Enter the approved test pressure and its reference with the hole section, or as an own value of the rig's rules."
)
_INSTALL: Final = "Install the component first, as of the time it was put in, or leave the element out."


def needs_of(elements: Iterable[tuple[Position, str]], *, under: Circumstances) -> list[Need]:
    """Return what each (position, side) must show; an empty side is the usual one for what stands there.

    Raises Refused naming `lines` as `required_for` does, and for a position of another stack.
    """
    standings = {standing.position.pk: standing for standing in under.standings}
    needs = []
    for position, side in elements:
        standing = standings.get(position.pk)
        if standing is None:
            raise Refused("lines", f"{position} is no position of {under.stack}.", "Choose elements of this stack.")
        kind = standing.component.kind if standing.component else position.kind
        needs.append(required_for(standing, side or default_side(kind), under=under))
    return needs


def exposed_parts(standing: Standing, *, under: Circumstances) -> tuple[Part, ...]:
    """Return the parts the pressure reaches and their limits: the component, the wellhead, the casing.

    The wellhead and casing are out of reach on the stump. A plug keeps the casing out of it; a cup hangs in
    the casing and presses on what is above it (common practice).
    """
    component = standing.component
    parts: list[Part] = []
    if component is not None and component.rated_working_pressure is not None:
        parts.append(Part(OWN_RWP, GaugePressure(component.rated_working_pressure.si)))
    return (*parts, *well_parts(under))


def well_parts(under: Circumstances) -> tuple[Part, ...]:
    """Return what of the well a test pressure in the bore reaches; raises Refused where its limit is not on file."""
    section = under.section
    if under.barrier == Barrier.STUMP or section is None:
        return ()
    parts = []
    if section.wellhead_rated_working_pressure is not None:
        parts.append(Part("RWP of the wellhead", GaugePressure(section.wellhead_rated_working_pressure.si)))
    if under.barrier in (Barrier.NONE, Barrier.CUP) and section.casing_internal_yield is not None:
        parts.append(Part("internal yield of the casing", GaugePressure(section.casing_internal_yield.si)))
    elif under.barrier == Barrier.NONE:
        raise Refused(
            "lines",
            f"The test is made against the casing, and {section} has no internal yield pressure on file for it.",
            "Enter it with the hole section, or test against a plug.",
        )
    return tuple(parts)


def _worked(choice: Choice, standing: Standing, parts: Sequence[Part], under: Circumstances) -> RequiredPressures:
    section = under.section
    component = standing.component
    assert component is not None
    reference = section.masp_margin_approval.strip() if section else ""
    return required_pressures(
        choice,
        rwp=_pascal(component.rated_working_pressure),
        masp=_or_none(section.masp) if section else None,
        weakest_part=weakest(parts).limit_gauge,
        approval=Approval(reference) if reference else None,
        annular_rwp=_annular_rwp(standing.position, under),
        wellhead_rwp=_or_none(section.wellhead_rated_working_pressure) if section else None,
        casing_burst=_or_none(section.casing_internal_yield) if section else None,
        recorded=under.recorded,
        casing_depth=float(section.casing_shoe_depth.si) if section and section.casing_shoe_depth else None,
        approved_pressure=_approved_pressure(section),
    )


def _approved_pressure(section: HoleSection | None) -> Approval | None:
    if section is None or section.approved_test_pressure is None:
        return None
    return Approval(section.approved_test_pressure_reference, _pascal(section.approved_test_pressure))


def _pascal(measured: Any) -> GaugePressure:
    return GaugePressure(float(measured.si))


def _or_none(measured: Any) -> GaugePressure | None:
    return None if measured is None else _pascal(measured)


def _annular_rwp(position: Position, under: Circumstances) -> GaugePressure | None:
    """Return the rating of the annular that closes over a position: the nearest above it, else the lowest one."""
    bore = position.outlet_of or position
    rated = [
        (one.position.order, _pascal(one.component.rated_working_pressure))
        for one in under.standings
        if one.component is not None
        and one.component.kind == ComponentKind.ANNULAR
        and one.component.rated_working_pressure is not None
    ]
    above = [one for one in rated if one[0] < bore.order]
    nearest = max(above or rated, key=lambda one: one[0], default=None)
    return None if nearest is None else nearest[1]


def _working(required: RequiredPressures, parts: Sequence[Part], under: Circumstances) -> tuple[str, ...]:
    system: System = "si" if under.stack.rig.display_units == "si" else "us"
    amounts = tuple(Amount(part.limit_gauge, Dimension.PRESSURE) for part in parts)
    named = ", ".join(f"{part.name} {{{index}}}" for index, part in enumerate(parts))
    weakest_step = WorkingStep(
        "Weakest exposed part",
        f"the least of {named}" if len(parts) > 1 else named,
        amounts,
        Amount(weakest(parts).limit_gauge, Dimension.PRESSURE),
    )
    steps = [weakest_step, *required.working]
    return (*(step.line(system) for step in steps), *required.notes)


def _rules(required: RequiredPressures) -> tuple[dict[str, str], ...]:
    """Return each clause used, once, with what it asks in our words."""
    own = required.rule
    rows = {own.clause: _rule_row(own.id, own.clause, own.title, own.confidence)}
    for figure, source in required.sources.items():
        words = f"{_WORDS[figure](required)}. {source.note}".strip()
        row = _rule_row(f"{own.id}/{figure}", source.clause, words, source.confidence)
        # Told even where its clause is cited already: a figure of the rig's own, and one with a note on it.
        apart = source.own or (source.clause == own.clause and source.note)
        rows.setdefault(f"{source.clause} {figure}" if apart else source.clause, row)
    return tuple(rows.values())


def _rule_row(rule_id: str, clause: str, text: str, confidence: Confidence) -> dict[str, str]:
    return {"id": rule_id, "clause": clause, "text": text, "confidence": confidence.value}


_WORDS: Final[Mapping[str, Callable[[RequiredPressures], str]]] = {
    "low": lambda required: low_words(required.low),
    "high": lambda required: high_words(required.rule.high),
    "hold": lambda required: hold_words(required.rule.hold),
}
