"""The tests as an administrator may look at them: never changed here, since every change goes through an action."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from equipment.admin import LookOnly
from tests_app.models import (
    Certificate,
    Completion,
    Defect,
    Deferral,
    Line,
    Postponement,
    Programme,
    ProgrammeCopy,
    Record,
    Recording,
    Signature,
    Step,
)


class StepsInline(admin.TabularInline[Any, Any]):
    """The steps of a record, by name and outcome."""

    model = Step
    fields = ("order", "name", "evidence", "outcome", "concluded_at")
    readonly_fields = fields
    extra = 0
    can_delete = False

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Record)
class RecordAdmin(LookOnly):
    """Records, drafts and sealed ones."""

    list_display = ("number", "rig", "stack", "started_at", "concluded_at", "sealed_at", "passed", "discarded_at")
    list_filter = ("rig", "passed")
    list_select_related = ("rig", "stack")
    search_fields = ("=number", "sha256", "remarks")
    exclude = ("content",)
    inlines = (StepsInline,)


@admin.register(Line)
class LineAdmin(LookOnly):
    """What each step proved, for finding a component's tests across rigs."""

    list_display = ("step", "position", "component", "pressure_from", "outcome", "leak_seen")
    list_filter = ("outcome", "leak_seen")
    list_select_related = ("step__record__rig", "position", "component")
    search_fields = ("component__serial", "position__name")


@admin.register(Recording)
class RecordingAdmin(LookOnly):
    """Files as received; their bytes are fetched from the test's own page."""

    list_display = ("file_name", "record", "kind", "size", "received_at", "withdrawn_at")
    list_filter = ("kind",)
    list_select_related = ("record__rig",)
    search_fields = ("file_name", "sha256")
    exclude = ("curve",)


@admin.register(Signature)
class SignatureAdmin(LookOnly):
    """Who signed what."""

    list_display = ("record", "name", "role", "signed_at")
    list_select_related = ("record__rig",)
    search_fields = ("name", "sha256")


@admin.register(Certificate)
class CertificateAdmin(LookOnly):
    """Papers as issued."""

    list_display = ("number", "kind", "record", "issued_at", "size")
    list_filter = ("kind",)
    list_select_related = ("record__rig",)
    search_fields = ("number", "sha256")


@admin.register(Programme)
class ProgrammeAdmin(LookOnly):
    """Which edition each rig tests by."""

    list_display = ("rig", "edition", "chosen_at", "chosen_by")
    list_select_related = ("rig",)


@admin.register(ProgrammeCopy)
class ProgrammeCopyAdmin(LookOnly):
    """Rigs' own copies of editions."""

    list_display = ("rig", "number", "source", "made_at", "made_by")
    list_filter = ("rig",)
    list_select_related = ("rig",)


@admin.register(Completion)
class CompletionAdmin(LookOnly):
    """Work done, what was withdrawn too."""

    list_display = ("what", "subject", "passed", "concluded_at", "done_by", "withdrawn_at", "rig")
    list_filter = ("what", "passed", "rig")
    list_select_related = ("rig",)


@admin.register(Deferral)
class DeferralAdmin(LookOnly):
    """Deferrals, those run out and withdrawn too."""

    list_display = ("subject", "granted_at", "until", "approved_by", "reference", "withdrawn_at", "rig")
    list_filter = ("rig",)
    list_select_related = ("rig",)


@admin.register(Postponement)
class PostponementAdmin(LookOnly):
    """Tests that were not safe to make."""

    list_display = ("subject", "made_at", "reason", "called_at", "ended_at", "rig")
    list_filter = ("reason", "rig")
    list_select_related = ("rig",)


@admin.register(Defect)
class DefectAdmin(LookOnly):
    """Defects; what was done about each stands on its own page."""

    list_display = ("number", "rig", "subject", "severity", "barrier", "found_at")
    list_filter = ("severity", "barrier", "rig")
    list_select_related = ("rig",)
    search_fields = ("=number", "subject", "description")
