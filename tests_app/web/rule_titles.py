"""Editions of the rules by their titles."""

from calcs.rules import Edition
from equipment.models import Rig
from tests_app import rulebook
from tests_app.queries.programmes import programme_of


def edition_named(key: str) -> Edition | None:
    """Return the edition of exactly that id, None when it is not in the rule book."""
    return next((one for one in rulebook.editions() if one.id == key), None)


def title_of(key: str) -> str:
    """Return the title of an edition; its id when it is not in the rule book."""
    found = edition_named(key)
    return f"{found.title}, {found.edition}" if found else key


def rules_followed(rig: Rig) -> str:
    """Return the title of the rules a rig follows; empty while there are none to judge by. One query."""
    programme = programme_of(rig)
    return title_of(programme.edition) if programme and edition_named(programme.edition) else ""
