"""Which rules a rig followed at a moment: what is judged long after is judged by the rules of its day."""

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
    name = programme.edition if programme.chosen_at <= at else _named_at(rig, at)
    try:
        return rulebook.edition(name)
    except InputError as error:
        raise NoRules(f"The rules chosen for {rig.name}, {name}, are not in this rule book.") from error


def _named_at(rig: Rig, at: datetime) -> str:
    choices = rules_followed(rig)
    return next((one for one in reversed(choices) if one.since <= at), choices[0]).edition
