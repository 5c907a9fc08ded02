"""Which published edition a rig tests by."""

from datetime import datetime

from django.db import transaction

from calcs.errors import InputError
from calcs.rules import Edition
from equipment.errors import Refused
from equipment.models import Rig
from tests_app import rulebook
from tests_app.models import Programme
from trail import entries
from trail.actors import Actor, name_of


@transaction.atomic
def choose_edition(rig: Rig, *, edition: str, by: Actor, at: datetime) -> Programme:
    """Let the rig test by the edition of that name from now on; drafts keep the one they were opened with.

    Raises Refused naming `edition` when the rule book holds none of that name.
    """
    chosen = _named(edition)
    current = Programme.objects.select_for_update().filter(rig=rig).first()
    before = entries.snapshot(current) if current else None
    values = {"edition": chosen.id, "chosen_at": at, "chosen_by": name_of(by)}
    programme, _ = Programme.objects.update_or_create(rig=rig, defaults=values)
    entries.write(
        "programme.edition-chosen",
        programme,
        by=by,
        at=at,
        rig_number=rig.pk,
        before=before,
        after=entries.snapshot(programme),
    )
    return programme


def _named(edition: str) -> Edition:
    try:
        return rulebook.edition(edition)
    except InputError as error:
        raise Refused("edition", error.reason, error.remedy) from error
