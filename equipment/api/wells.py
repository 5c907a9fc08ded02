"""Wells and hole sections over HTTP; the MASP of a section is worked out when it is written."""

from django.db.models import QuerySet
from rest_framework.request import Request

from equipment.actions import wells as actions
from equipment.api.marks import require_seen
from equipment.api.operations import Given, View, acts, amends, caller, lists, reads
from equipment.api.shapes import shown, taken
from equipment.models import HoleSection, Well
from equipment.queries import access, wells
from equipment.queries.access import Right

_WELL = ("name", "datum", "water_depth", "air_gap", "spudded_on", "finished_on")
_SECTION = (
    "order",
    "name",
    "begins_at",
    "casing_shoe_depth",
    "total_depth",
    "mud_weight",
    "pore_gradient",
    "fracture_gradient",
    "gas_gradient",
    "casing_internal_yield",
    "wellhead_rated_working_pressure",
    "masp",
    "masp_basis",
    "masp_method",
    "masp_reason",
    "masp_margin_approval",
    "approved_test_pressure",
    "approved_test_pressure_reference",
)
_ENTERED = {"name": "12 1/4 in section", "masp": "7500 psi", "masp_basis": "entered", "masp_reason": "Well programme."}

WellShown = shown(Well, "id", "rig", *_WELL)
WellTaken = taken(Well, *_WELL, name="WellTaken", example={"name": "A-12", "spudded_on": "2026-02-20"})
SectionShown = shown(HoleSection, "id", "well", *_SECTION, "masp_working", name="HoleSection")
SectionTaken = taken(HoleSection, *_SECTION[1:], name="HoleSectionTaken", example=_ENTERED)


class Wells(View):
    """The wells of a rig."""

    @lists(WellShown, "List the wells of a rig")
    def get(self, request: Request, rig_pk: int) -> QuerySet[Well]:
        return wells.wells_of(access.rig_for(request.user, rig_pk))

    @acts(WellShown, "Register a well", takes=WellTaken)
    def post(self, request: Request, given: Given, rig_pk: int) -> Well:
        rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
        return actions.register_well(rig, **given(), by=caller(request), at=self.at)


class WellByKey(View):
    """One well."""

    @reads(WellShown, "Show a well")
    def get(self, request: Request, pk: int) -> Well:
        return wells.well_for(request.user, pk)

    @amends(WellShown, "Amend a well", takes=WellTaken, description="The MASP of its sections follows.")
    def patch(self, request: Request, given: Given, pk: int) -> Well:
        well = wells.well_for(request.user, pk, needs=Right.MANAGE)
        return actions.amend_well(well, seen=require_seen(request, well), **given(), by=caller(request), at=self.at)


class SectionsOfRig(View):
    """The hole sections of all wells of a rig."""

    @lists(SectionShown, "List the hole sections of a rig")
    def get(self, request: Request, rig_pk: int) -> QuerySet[HoleSection]:
        return wells.sections_of(access.rig_for(request.user, rig_pk))


class SectionsOfWell(View):
    """The hole sections of a well."""

    @lists(SectionShown, "List the hole sections of a well")
    def get(self, request: Request, pk: int) -> QuerySet[HoleSection]:
        return wells.well_for(request.user, pk).sections.all()

    @acts(SectionShown, "Add a hole section", takes=SectionTaken, description="The last in order.")
    def post(self, request: Request, given: Given, pk: int) -> HoleSection:
        well = wells.well_for(request.user, pk, needs=Right.MANAGE)
        return actions.add_section(well, **given(), by=caller(request), at=self.at)


class SectionByKey(View):
    """One hole section."""

    @reads(SectionShown, "Show a hole section")
    def get(self, request: Request, pk: int) -> HoleSection:
        return wells.section_for(request.user, pk)

    @amends(SectionShown, "Amend a hole section", takes=SectionTaken, description="Drafts of tests for it follow.")
    def patch(self, request: Request, given: Given, pk: int) -> HoleSection:
        section = wells.section_for(request.user, pk, needs=Right.MANAGE)
        seen = require_seen(request, section)
        return actions.amend_section(section, seen=seen, **given(), by=caller(request), at=self.at)
