"""Administration: read-mostly. What is on file changes through the pages, whose actions write the trail."""

from typing import Any

from django.contrib import admin
from django.db.models import Model
from django.http import HttpRequest

from equipment.models import (
    Bank,
    Bottle,
    Cavity,
    Component,
    CrewMember,
    Document,
    Elastomer,
    HoleSection,
    Installation,
    Instrument,
    Position,
    PrechargeCheck,
    PrechargeReading,
    PressureSystem,
    Rig,
    ServiceEvent,
    Stack,
    SystemElement,
    Well,
)


class LookOnly(admin.ModelAdmin[Any]):
    """Shows rows and changes none: a change made here would leave no entry in the trail."""

    list_per_page = 50

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Refuse: rows are added by the pages."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        """Refuse: rows are amended by the pages."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        """Refuse: equipment is retired, never deleted."""
        return False


@admin.register(Rig)
class RigAdmin(LookOnly):
    list_display = ("name", "kind", "time_zone", "display_units")
    search_fields = ("name",)


@admin.register(CrewMember)
class CrewMemberAdmin(LookOnly):
    list_display = ("person", "role", "rig")
    list_filter = ("role", "rig")
    list_select_related = ("person", "rig")


@admin.register(Well)
class WellAdmin(LookOnly):
    list_display = ("name", "rig", "datum", "spudded_on", "finished_on")
    list_filter = ("rig",)


@admin.register(HoleSection)
class HoleSectionAdmin(LookOnly):
    list_display = ("name", "well", "order", "masp", "masp_basis")
    list_filter = ("well__rig",)
    list_select_related = ("well",)


@admin.register(Stack)
class StackAdmin(LookOnly):
    list_display = ("name", "rig", "kind")
    list_filter = ("rig", "kind")


@admin.register(Position)
class PositionAdmin(LookOnly):
    list_display = ("name", "stack", "order", "kind", "group")
    list_filter = ("stack__rig", "kind")
    list_select_related = ("stack",)


@admin.register(Component)
class ComponentAdmin(LookOnly):
    list_display = ("serial", "kind", "rig", "maker", "model", "rated_working_pressure", "retired_at")
    list_filter = ("rig", "kind")
    search_fields = ("serial", "maker", "model")


@admin.register(Installation)
class InstallationAdmin(LookOnly):
    list_display = ("component", "position", "installed_at", "removed_at")
    list_filter = ("position__stack__rig",)
    list_select_related = ("component", "position")


@admin.register(Elastomer)
class ElastomerAdmin(LookOnly):
    list_display = ("part", "component", "installed_on", "expires_on", "removed_on")
    list_select_related = ("component",)


@admin.register(ServiceEvent)
class ServiceEventAdmin(LookOnly):
    list_display = ("component", "kind", "at", "recorded_by")
    list_select_related = ("component",)


@admin.register(Document)
class DocumentAdmin(LookOnly):
    list_display = ("title", "kind", "component", "instrument", "expires_on", "sha256")
    list_select_related = ("component", "instrument")
    search_fields = ("title", "number", "sha256")


@admin.register(Instrument)
class InstrumentAdmin(LookOnly):
    list_display = ("serial", "kind", "rig", "calibration_due_on", "retired_on")
    list_filter = ("rig", "kind")
    search_fields = ("serial",)


@admin.register(Bank)
class BankAdmin(LookOnly):
    list_display = ("component", "purpose", "location", "design_precharge", "charged_pressure")
    list_filter = ("component__rig", "purpose")
    list_select_related = ("component",)


@admin.register(Bottle)
class BottleAdmin(LookOnly):
    list_display = ("serial", "bank", "position_number", "gas_volume", "shell_test_due_on", "state")
    list_filter = ("state",)
    list_select_related = ("bank__component",)
    search_fields = ("serial",)


@admin.register(PrechargeCheck)
class PrechargeCheckAdmin(LookOnly):
    list_display = ("bank", "taken_at", "taken_by", "instrument")
    list_select_related = ("bank__component", "instrument")


@admin.register(PrechargeReading)
class PrechargeReadingAdmin(LookOnly):
    list_display = ("bottle", "check_round", "pressure", "gas_temperature", "corrects")
    list_select_related = ("bottle", "check_round__bank__component", "corrects__bottle")


@admin.register(PressureSystem)
class PressureSystemAdmin(LookOnly):
    list_display = ("stack", "pipe_strings")
    list_filter = ("stack__rig",)
    list_select_related = ("stack__rig",)


@admin.register(Cavity)
class CavityAdmin(LookOnly):
    list_display = ("name", "system", "part", "rating", "is_pump_point", "is_vent")
    list_filter = ("system__stack__rig", "part")
    list_select_related = ("system__stack",)


@admin.register(SystemElement)
class SystemElementAdmin(LookOnly):
    list_display = ("name", "system", "kind", "position", "well_side", "far_side", "holds_from", "rating")
    list_filter = ("system__stack__rig", "kind")
    list_select_related = ("system__stack", "position", "well_side", "far_side")
