"""Which published edition a rig tests by, since when."""

from datetime import datetime

from django.db import transaction

from accounts.presentation import date_text
from calcs.errors import InputError
from calcs.rules import Edition
from equipment.errors import Refused
from equipment.models import Rig
from tests_app import rulebook
from tests_app.models import Programme
from tests_app.models.programmes import MARK
from tests_app.queries.programmes import own_figures
from trail import entries
from trail.actors import Actor, name_of


@transaction.atomic
def choose_edition(
    rig: Rig, *, edition: str, by: Actor, at: datetime, since: datetime | None = None, reason: str = ""
) -> Programme:
    """Let the rig test by the edition of that name since a moment, or from now on; tests opened keep their own.

    The rig's own values in the rules followed until now are left behind, and the trail names them.
    Raises Refused naming `edition` when the rule book holds none of that name or the rig follows it already,
    `since` for a time to come or one before the rules followed until now, `reason` for a change without one.
    """
    chosen = _named(edition)
    followed_since = since or at
    current = Programme.objects.select_for_update(no_key=True).filter(rig=rig).first()
    if followed_since > at:
        raise Refused("since", "This day lies in the future.", "Choose the rules on the day they begin to apply.")
    if current is not None:
        _refuse_change(current, chosen, followed_since, reason)
    before = entries.snapshot(current) if current else None
    left_behind = [f"{own.rule_title}, {own.label.lower()}: {own.words}" for own in own_figures(current)]
    values = {"edition": chosen.id, "chosen_at": followed_since, "chosen_by": name_of(by)}
    programme, _ = Programme.objects.update_or_create(rig=rig, defaults=values)
    entries.write(
        "programme.edition-chosen",
        programme,
        by=by,
        at=at,
        rig_number=rig.pk,
        before=before,
        after={**entries.snapshot(programme), **({"left_behind": left_behind} if left_behind else {})},
        reason=reason.strip(),
    )
    return programme


def _refuse_change(current: Programme, chosen: Edition, since: datetime, reason: str) -> None:
    if current.edition == chosen.id:
        raise Refused("edition", "The rig follows these rules already.", "Choose others, or leave them.")
    zone = current.rig.zone
    followed_since = current.chosen_at.astimezone(zone).date()
    if since.astimezone(zone).date() < followed_since:
        raise Refused(
            "since",
            f"The rig has followed {current.edition.partition(MARK)[0]} since {date_text(followed_since)}.",
            "Give that day or a later one.",
        )
    if not reason.strip():
        raise Refused("reason", "Rules are not changed without a reason.", "Say why, in a few words.")


def _named(edition: str) -> Edition:
    if MARK in edition:
        raise Refused("edition", "Nobody follows a copy of another rig's rules.", "Choose a published edition.")
    try:
        found = rulebook.published(edition)
    except InputError as error:
        raise Refused("edition", error.reason, error.remedy) from error
    if not found.asks_pressure_tests:
        # Its due list would be empty, and an empty due list reads like a rig in date.
        raise Refused("edition", f"{found.title} asks for no pressure test.", "Follow rules that do; it stays to read.")
    return found
