"""Ordering a paper that takes long, and making it in the background, step by step so that a page can tell how far."""

import logging
from datetime import datetime
from typing import Final

from django.db import transaction

from equipment import files
from equipment.actions.saving import aware, store_row
from equipment.errors import Refused
from equipment.models import Rig
from tests_app.after_commit import enqueue
from tests_app.documents.compliance_sheet import month_choices, print_compliance, window_of
from tests_app.documents.list_paper import PAPERS
from tests_app.models import OrderedPaper, PaperSize, PaperStep
from tests_app.queries.ordered_papers import being_made
from tests_app.queries.past import exceeded
from trail import entries
from trail.actors import Actor, name_of

_log = logging.getLogger(__name__)
_SIZES: Final = {PaperSize.A4: PAPERS["si"], PaperSize.LETTER: PAPERS["us"]}


@transaction.atomic
def order_compliance(rig: Rig, *, month: str, paper: str, by: Actor, at: datetime) -> OrderedPaper:
    """Order twelve months of a rig on paper, as of now; the same one still being made is given back instead.

    Raises Refused naming `month` or `paper` for one that can't be chosen.
    """
    if month not in dict(month_choices(rig, aware(at))):
        raise Refused("month", "The twelve months can not end with this one.", "Choose one of the last five years.")
    if paper not in PaperSize:
        raise Refused("paper", "There is no such paper.", "Choose A4 or Letter.")
    same = being_made(rig, at=at).filter(month=month, paper=paper).first()
    if same is not None:
        return same
    order = OrderedPaper(rig=rig, month=month, paper=paper, ordered_at=at, ordered_by=name_of(by))
    store_row(order, insert=True)
    entries.write("paper.ordered", order, by=by, at=at, rig_number=rig.pk, after={"month": month, "paper": paper})
    enqueue("tests_app.make_ordered_paper", paper_id=order.pk)
    return order


def make_ordered_paper(order: OrderedPaper, *, by: Actor, at: datetime) -> OrderedPaper:
    """Make an ordered paper and keep it; one that is made is left as it is, and one that can't be made says why.

    It is worked out and drawn before the transaction: that takes long, and nobody's writing should wait for it.
    """
    if order.step == PaperStep.MADE:
        return order
    try:
        pdf = _drawn(order)
    except OSError:
        raise  # a store or database that is away for a minute: the task tries again
    except Exception as error:
        _log.exception("Ordered paper %s could not be made", order.pk)
        OrderedPaper.objects.filter(pk=order.pk).update(error=f"{type(error).__name__}: {error}"[:300])
        order.refresh_from_db()
        return order
    with transaction.atomic():
        return _kept(order, pdf, by=by, at=at)


def _drawn(order: OrderedPaper) -> bytes:
    rig, moment = order.rig, order.ordered_at
    window = window_of(order.month, month_choices(rig, moment), rig, moment)
    _tell(order, PaperStep.WORKED_OUT)
    past = exceeded(rig, window.since, window.until)
    _tell(order, PaperStep.DRAWN)
    return print_compliance(rig, past, window, paper=_SIZES[PaperSize(order.paper)])


def _tell(order: OrderedPaper, step: PaperStep) -> None:
    OrderedPaper.objects.filter(pk=order.pk).exclude(step=PaperStep.MADE).update(step=step)


def _kept(order: OrderedPaper, pdf: bytes, *, by: Actor, at: datetime) -> OrderedPaper:
    made = {"step": PaperStep.MADE, "made_at": at, "sha256": files.keep(pdf), "size": len(pdf), "error": ""}
    if OrderedPaper.objects.filter(pk=order.pk).exclude(step=PaperStep.MADE).update(**made):
        after = {"sha256": made["sha256"]}
        entries.write("paper.made", order, by=by, at=at, rig_number=order.rig_id, after=after)
    order.refresh_from_db()
    return order
