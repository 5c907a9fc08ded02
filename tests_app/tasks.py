"""Background work of the tests: each task takes keys only, reads afresh, and may run twice."""

import logging
from collections.abc import Callable
from functools import partial
from typing import Any, Final

from celery import shared_task
from django.utils import timezone

from equipment.models import Rig
from tests_app.actions import bringing_in
from tests_app.actions.certificates import issue_certificate
from tests_app.actions.digests import make_digests
from tests_app.actions.line_up_answers import work_out
from tests_app.actions.line_up_plans import CLAIM_LASTS as PLAN_CLAIM_LASTS
from tests_app.actions.obligations import reconcile_each
from tests_app.actions.ordered_papers import make_ordered_paper
from tests_app.actions.sending import CLAIM_LASTS, deliver
from tests_app.actions.sweeping import escalate, note_failed_sweep, sweep
from tests_app.after_commit import ALERTS, AT_ONCE, BACKLOG
from tests_app.brought_progress import forget_progress, note_progress
from tests_app.models import BroughtFile, OrderedPaper, Record
from tests_app.queries.alerts import waiting_messages
from tests_app.queries.line_up_plans import waiting_plans
from tests_app.queries.reckoned import rigs_to_reckon
from tests_app.queries.unissued import sealed_without_paper
from trail.actors import System

log = logging.getLogger(__name__)

_ORDER_LASTS: Final = 900
"""Seconds an order to send is kept. Each minute makes another, so an old one may go; but one that went before a slow
worker came to it would leave a message waiting for ever."""


# What a store or database that is away for a minute answers with; a record that can't be printed is no such thing.
@shared_task(
    name="tests_app.make_certificate", autoretry_for=(OSError,), retry_backoff=True, max_retries=8, ignore_result=True
)
def make_certificate(record_id: int) -> Any:
    """Make the certificate of a sealed record; an issued one is left as it is."""
    record = Record.objects.select_related("rig").get(pk=record_id)
    return issue_certificate(record, by=System.CERTIFICATES, at=timezone.now()).pk


@shared_task(name="tests_app.make_missing_certificates", ignore_result=True)
def make_missing_certificates() -> None:
    """Order again what a lost message, a queue that was away or a worker killed while drawing left unmade.

    One order a record: one that cannot be drawn holds up none of the others.
    """
    for pk in sealed_without_paper(timezone.now()):
        make_certificate.apply_async(kwargs={"record_id": pk}, queue=BACKLOG)


@shared_task(
    name="tests_app.make_ordered_paper", autoretry_for=(OSError,), retry_backoff=True, max_retries=5, ignore_result=True
)
def make_paper_ordered(paper_id: int) -> None:
    """Make a paper somebody ordered; one that is made is left as it is."""
    order = OrderedPaper.objects.select_related("rig").get(pk=paper_id)
    make_ordered_paper(order, by=System.CERTIFICATES, at=timezone.now())


@shared_task(name="tests_app.sweep", ignore_result=True)
def sweep_all() -> None:
    """Make the notices that are new on each rig; one that can't be swept shows it, and holds up none of the others."""
    for rig in Rig.objects.order_by("pk"):
        at = timezone.now()
        try:
            sweep(rig, by=System.SCHEDULER, at=at)
            escalate(rig, by=System.SCHEDULER, at=at)
        except Exception as error:
            log.exception("The sweep of rig %s broke off.", rig.pk)
            note_failed_sweep(rig, error=f"{type(error).__name__}: {error}", by=System.SCHEDULER, at=at)


@shared_task(name="tests_app.make_digests", ignore_result=True)
def make_all_digests() -> None:
    """Make the digests whose hour has come; one rig that fails holds up none of the others."""
    for rig in Rig.objects.order_by("pk"):
        try:
            make_digests(rig, by=System.SCHEDULER, at=timezone.now())
        except Exception:
            log.exception("The digest of rig %s was not made.", rig.pk)


# A send that hangs is ended before its claim runs out (tests_app.actions.sending.CLAIM_LASTS).
@shared_task(name="tests_app.deliver", ignore_result=True, soft_time_limit=75, time_limit=90)
def deliver_message(message_id: int) -> None:
    """Send one message, unless another worker has it or had it."""
    deliver(message_id, by=System.SCHEDULER, at=timezone.now())


@shared_task(name="tests_app.deliver_waiting", ignore_result=True)
def deliver_waiting() -> None:
    """Order again each message whose time has come: after quiet hours, a failed try, a lost order, a killed worker."""
    for pk in waiting_messages(timezone.now(), claim_lasts=CLAIM_LASTS):
        deliver_message.apply_async(kwargs={"message_id": pk}, queue=ALERTS, expires=_ORDER_LASTS)


@shared_task(name="tests_app.reconcile_all", ignore_result=True)
def reconcile_all() -> None:
    """Work out what is owed on every rig whose time has come, each by itself; running twice changes nothing more."""
    at = timezone.now()
    for _ in reconcile_each(rigs_to_reckon(at), at=at):
        pass


# A search that hangs is ended before its claim runs out (tests_app.actions.line_up_plans.CLAIM_LASTS).
@shared_task(name="tests_app.plan_line_ups", ignore_result=True, soft_time_limit=150, time_limit=180)
def plan_line_ups(plan_id: int) -> None:
    """Work one plan of line-ups out, unless another worker has it or had it."""
    work_out(plan_id, by=System.PLANNER, at=timezone.now())


@shared_task(name="tests_app.plan_waiting", ignore_result=True)
def plan_waiting() -> None:
    """Order again each plan that a lost order or a killed worker left waiting."""
    at = timezone.now()
    for pk in waiting_plans(at, free_before=at - PLAN_CLAIM_LASTS):
        plan_line_ups.apply_async(kwargs={"plan_id": pk}, queue=AT_ONCE, expires=_ORDER_LASTS)


@shared_task(name="tests_app.try_out_file", ignore_result=True)
def try_out_file(file_id: int) -> None:
    """Find out what becomes of each row of a file that was given."""
    _walk_file(file_id, bringing_in.try_out)


@shared_task(name="tests_app.bring_in_file", ignore_result=True)
def bring_in_file(file_id: int) -> None:
    """Bring in a file somebody confirmed; run twice, it is brought in once."""
    _walk_file(file_id, bringing_in.bring_in)


def _walk_file(file_id: int, walk: Callable[..., BroughtFile]) -> None:
    file = BroughtFile.objects.select_related("rig", "person").get(pk=file_id)
    if file.person is None:  # the column is empty for no file that was given by somebody signed in
        return
    try:
        walk(file, by=file.person, at=timezone.now(), progress=partial(note_progress, file.pk))
    finally:
        forget_progress(file.pk)
