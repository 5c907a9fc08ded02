"""Wells and hole sections; a section's MASP is worked out when it is saved."""

from datetime import date, datetime
from typing import Final, TypedDict, Unpack

from django.db import transaction

from equipment import following
from equipment.actions import plausible, saving
from equipment.actions.components import Amount
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import HoleSection, MaspBasis, Rig, Well
from equipment.queries import masp
from trail import entries
from trail.actors import Actor

_WATER: Final = ("water_depth", "air_gap")


class WellFacts(TypedDict, total=False):
    """What is known of a well besides its name."""

    datum: str
    water_depth: Amount
    air_gap: Amount
    spudded_on: date | None
    finished_on: date | None


class WellAmendment(WellFacts, total=False):
    """What can be amended of a well."""

    name: str


class SectionFacts(TypedDict, total=False):
    """What is known of a hole section. `masp` is taken with the basis "entered" only; else it is worked out."""

    begins_at: datetime | None
    casing_shoe_depth: Amount
    total_depth: Amount
    mud_weight: Amount
    pore_gradient: Amount
    fracture_gradient: Amount
    gas_gradient: Amount
    casing_internal_yield: Amount
    wellhead_rated_working_pressure: Amount
    masp: Amount
    masp_basis: str
    masp_method: str
    masp_reason: str
    masp_margin_approval: str
    approved_test_pressure: Amount
    approved_test_pressure_reference: str


class SectionAmendment(SectionFacts, total=False):
    """What can be amended of a section."""

    name: str
    order: int


@transaction.atomic
def register_well(rig: Rig, *, name: str, by: Actor, at: datetime, **facts: Unpack[WellFacts]) -> Well:
    """Register a well. Raises ValidationError naming the fields at fault, or Refused for a name the rig has."""
    well = Well(rig=rig)
    saving.assign_values(well, {"name": name, **facts})
    plausible.check_well(well, at)
    saving.add_row(well, Event.WELL_REGISTERED, by=by, at=at)
    return well


@transaction.atomic
def amend_well(well: Well, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[WellAmendment]) -> Well:
    """Amend a well; where its water changed, the MASP of its sections is worked out anew, and drafts follow.

    Raises as `register_well` does, and Refused naming the section whose MASP can't be worked out with it.
    """
    fresh = saving.locked(well)
    saving.unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, facts)
    plausible.check_well(fresh, at)
    saving.change_row(fresh, Event.WELL_AMENDED, before=before, by=by, at=at)
    after = entries.snapshot(fresh)
    if any(after[f"{name}_si"] != before[f"{name}_si"] for name in _WATER):
        _rework_sections(fresh, by, at)
    return fresh


def _rework_sections(well: Well, by: Actor, at: datetime) -> None:
    """Work the MASP of each section out anew, where it is worked out; an entered one is the person's own."""
    for section in well.sections.select_for_update(no_key=True).order_by("order"):
        if section.masp_basis != MaspBasis.WORKED_OUT or not section.masp_method:
            continue
        section.well = well
        before = entries.snapshot(section)
        try:
            _settle_masp(section)
        except Refused as refused:
            field = refused.field if refused.field in _WATER else _WATER[0]
            raise Refused(
                field, f"The MASP of {section.name} can't be worked out with this: {refused.reason}", refused.remedy
            ) from refused
        if saving.change_row(
            section, Event.SECTION_REWORKED, before=before, by=by, at=at, reason=f"{well.name} was amended."
        ):
            following.follow(section, by, at)


@transaction.atomic
def add_section(
    well: Well, *, name: str, order: int | None = None, by: Actor, at: datetime, **facts: Unpack[SectionFacts]
) -> HoleSection:
    """Add a hole section, the last in order unless one is given, and work its MASP out.

    With the basis "worked-out" and a method the MASP and its working are stored; without a method the
    section has none yet. With the basis "entered" both `masp` and `masp_reason` are needed. Raises
    ValidationError or Refused naming the field.
    """
    last = well.sections.order_by("-order").values_list("order", flat=True).first() or 0
    section = HoleSection(well=well, order=last + 1 if order is None else order)
    saving.assign_values(section, {"name": name, **facts})
    _settle_masp(section)
    saving.add_row(section, Event.SECTION_ADDED, by=by, at=at)
    return section


@transaction.atomic
def amend_section(
    section: HoleSection, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[SectionAmendment]
) -> HoleSection:
    """Amend a section and work its MASP out anew; drafts of tests made for it follow. Raises as `add_section` does."""
    fresh = saving.locked(section)
    saving.unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, facts)
    _settle_masp(fresh)
    if saving.change_row(fresh, Event.SECTION_AMENDED, before=before, by=by, at=at):
        following.follow(fresh, by, at)
    return fresh


def _settle_masp(section: HoleSection) -> None:
    """Set the MASP with its working, by the section's basis."""
    if section.masp_basis == MaspBasis.ENTERED:
        _settle_entered(section)
        return
    section.masp_reason = ""
    section.masp = None
    plausible.check_section(section)
    section.masp_working = []
    if section.masp_method:
        found = masp.worked_out(section, subsea=masp.is_subsea(section.well.rig))
        section.masp = masp.figure(found, section.well.rig)
        section.masp_working = masp.as_json(found.working)


def _settle_entered(section: HoleSection) -> None:
    section.masp_method = ""
    section.masp_working = []
    if section.masp is None:
        raise Refused("masp", "The MASP is missing.", "Enter the figure, or have it worked out.")
    if section.masp.si <= 0:
        raise Refused("masp", "A MASP is over zero.", "Check the figure.")
    plausible.check_section(section)
    section.masp_reason = saving.said(
        section.masp_reason,
        field="masp_reason",
        reason="A MASP that was entered needs its reason.",
        remedy="Say where the figure comes from.",
    )
