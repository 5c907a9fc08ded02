"""Background work of the tests: each task takes keys only, reads afresh, and may run twice."""

from typing import Any

from celery import shared_task
from django.utils import timezone

from tests_app.actions.certificates import issue_certificate
from tests_app.after_commit import BACKLOG
from tests_app.models import Record
from tests_app.queries.unissued import sealed_without_paper
from trail.actors import System


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
