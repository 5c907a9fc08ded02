"""Which rules a rig followed at a moment: what is judged long after is judged by the rules of its day."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from calcs.errors import InputError
from calcs.rules import Edition
from equipment.models import Rig
from tests_app import rulebook
from tests_app.errors import NoRules
from tests_app.models import Programme
from tests_app.queries.programmes import choices_of


@dataclass(frozen=True, slots=True)
class Followed:
    """Rules a rig followed from a moment on: the id of the edition."""

    since: datetime
    edition: str


def rules_followed(rig: Rig) -> list[Followed]:
    """Return every choice of rules of the rig, by the day it says it counts from, the first first. Two queries."""
    programme = Programme.objects.filter(rig=rig).first()
    found = []
    for entry in choices_of(programme):
        after = entry.after or {}
        if after.get("edition") and after.get("chosen_at"):
            found.append(Followed(datetime.fromisoformat(after["chosen_at"]), after["edition"]))
    if programme is not None and not found:
        found.append(Followed(programme.chosen_at, programme.edition))
    found.reverse()  # as entered: of two for the same day the later stands last
    return sorted(found, key=lambda one: one.since)


def edition_at(rig: Rig, *, at: datetime) -> Edition:
    """Return the edition the rig followed at a moment; before its first choice that first one. One query for today.

    Raises NoRules while none is chosen, or when the one followed then is not in the rule book any more.
    """
    programme = Programme.objects.filter(rig=rig).first()
    if programme is None:
        raise NoRules(f"No rules are chosen for {rig.name}.")
    now = (Followed(programme.chosen_at, programme.edition),)
    return edition_among(now if programme.chosen_at <= at else rules_followed(rig), rig, at=at)


def edition_among(choices: Sequence[Followed], rig: Rig, *, at: datetime) -> Edition:
    """Return the same from every choice the rig made: no query for a published edition. Raises NoRules."""
    if not choices:
        raise NoRules(f"No rules are chosen for {rig.name}.")
    name = _followed_at(choices, at)
    try:
        return rulebook.edition(name)
    except InputError as error:
        raise NoRules(f"The rules chosen for {rig.name}, {name}, are not in this rule book.") from error


def _followed_at(choices: Sequence[Followed], at: datetime) -> str:
    return next((one for one in reversed(choices) if one.since <= at), choices[0]).edition
