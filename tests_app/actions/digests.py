"""The daily digest: one a rig, local day and person, told in the words of the moment it is sent."""

from datetime import datetime

from django.db import transaction

from calcs.alert_stages import digest_day
from equipment.actions.saving import aware
from equipment.models import Rig
from tests_app.actions.telling import queue_message
from tests_app.models import Digest, Purpose
from tests_app.queries.alerts import settings_of, told_on
from trail.actors import Actor


@transaction.atomic
def make_digests(rig: Rig, *, by: Actor, at: datetime) -> int:
    """Make the digests owed at `at`, one for each person told who has none of the day yet; return how many."""
    chosen = settings_of(rig)
    day = digest_day(aware(at), chosen.digest_at, rig.zone) if chosen.digest_at and chosen.by_mail else None
    if day is None:
        return 0
    have = set(Digest.objects.filter(rig=rig, day=day).values_list("person", flat=True))
    made = 0
    for person in told_on(rig, chosen):
        if person.pk in have or not person.email:
            continue
        # The constraint decides between two that run at once: who made the row sends.
        digest, is_ours = Digest.objects.get_or_create(rig=rig, day=day, person=person, defaults={"created_at": at})
        if is_ours:
            message = queue_message(chosen, person, Purpose.DIGEST, goes_at=at, at=at)
            message.digest = digest
            message.save(update_fields=["digest"])
            made += 1
    return made
