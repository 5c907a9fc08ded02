"""Papers ordered of a rig, and which of them are still being made."""

from datetime import datetime, timedelta
from typing import Final

from django.db.models import Q, QuerySet

from equipment.models import Rig
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from tests_app.models import OrderedPaper, PaperStep

LATE_AFTER: Final = timedelta(minutes=3)
"""A paper not made by then is told to be late, and may be ordered again."""
SHOWN: Final = 10


def papers_of(rig: Rig) -> QuerySet[OrderedPaper]:
    """Return the papers ordered of a rig, the latest first."""
    return OrderedPaper.objects.filter(rig=rig)


def being_made(rig: Rig, *, at: datetime) -> QuerySet[OrderedPaper]:
    """Return those that are neither made, failed nor late."""
    return papers_of(rig).filter(~Q(step=PaperStep.MADE), error="", ordered_at__gt=at - LATE_AFTER)


def is_late(paper: OrderedPaper, *, at: datetime) -> bool:
    """Tell whether a paper should have been made by now."""
    return paper.step != PaperStep.MADE and not paper.error and paper.ordered_at <= at - LATE_AFTER


def paper_for(user: Viewer, pk: int) -> OrderedPaper:
    """Return one paper; raises NotYours (404) or NotAllowed (403)."""
    return access.checked(user, OrderedPaper.objects.select_related("rig").filter(pk=pk).first(), needs=Right.READ)
