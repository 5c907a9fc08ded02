"""Wells and hole sections, as one person may see them."""

from datetime import datetime

from django.db.models import Count, Prefetch, QuerySet

from calcs.pressures import gradient_of
from equipment.models import HoleSection, Rig, Well
from equipment.queries import access
from equipment.queries.access import Right, Viewer


def wells_of(rig: Rig) -> QuerySet[Well]:
    """Return the rig's wells, the latest spudded first, each with `section_count`."""
    return rig.wells.annotate(section_count=Count("sections"))


def sections_of(rig: Rig) -> QuerySet[HoleSection]:
    """Return the hole sections of all wells of the rig, in order."""
    return HoleSection.objects.filter(well__rig=rig).select_related("well").order_by("well", "order")


def section_drilled(rig: Rig, *, at: datetime) -> HoleSection | None:
    """Return the hole section being drilled at a moment: of the rig's sections the one begun last."""
    begun = HoleSection.objects.filter(well__rig=rig, begins_at__lte=at).select_related("well")
    return begun.order_by("begins_at", "order").last()


def well_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Well:
    """Return the well with its sections in order; raises NotYours or NotAllowed."""
    sections = Prefetch("sections", queryset=HoleSection.objects.order_by("order"))
    well = Well.objects.select_related("rig").prefetch_related(sections).filter(pk=pk).first()
    return access.checked(user, well, needs=needs)


def section_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> HoleSection:
    """Return the hole section; raises NotYours or NotAllowed."""
    section = HoleSection.objects.select_related("well__rig").filter(pk=pk).first()
    return access.checked(user, section, needs=needs)


def is_underbalanced(section: HoleSection) -> bool:
    """Tell whether the mud is lighter than the pore pressure: drilled so on purpose, or a slip of the pen."""
    mud, pore = section.mud_weight, section.pore_gradient
    return mud is not None and pore is not None and gradient_of(mud.si) < pore.si
