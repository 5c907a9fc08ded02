"""Editions of the rules by their titles."""

from collections.abc import Iterable

from calcs.errors import InputError
from calcs.rules import Edition
from equipment.models import Rig
from tests_app import rulebook
from tests_app.queries.programmes import programme_of


def edition_named(key: str) -> Edition | None:
    """Return the edition of exactly that id, a rig's own copy too, None when it is not in the rule book."""
    return editions_titled([key]).get(key)


def editions_titled(keys: Iterable[str]) -> dict[str, Edition]:
    """Return the editions of these ids; those not in the rule book, or no longer fitting it, are left out."""
    try:
        return rulebook.editions_named(keys)
    except InputError:
        return {}


def full_title(edition: Edition) -> str:
    """Return what an edition is called."""
    return f"{edition.title}, {edition.edition}"


def rules_followed(rig: Rig) -> str:
    """Return the title of the rules a rig follows; empty while there are none to judge by. Two queries at most."""
    programme = programme_of(rig)
    found = edition_named(programme.edition) if programme else None
    return full_title(found) if found else ""
