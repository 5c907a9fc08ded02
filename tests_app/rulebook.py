"""The rule book: published editions as shipped, read once from their files, and rigs' own copies of them.

The one place that touches `fixtures/rules`; everything else is handed editions. A name with a plus in it, such as
``us-ocs/2023+7``, is that of a rig's own copy.
"""

import json
import tomllib
from collections.abc import Iterable
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from calcs.errors import InputError
from calcs.programmes import applied, parse_changes
from calcs.rule_files import parse_edition
from calcs.rules import Edition
from tests_app.models import ProgrammeCopy
from tests_app.models.programmes import MARK

RULES_FOLDER = Path(__file__).resolve().parent.parent / "fixtures" / "rules"


class RuleFileError(RuntimeError):
    """A shipped rule file can't be read: the installation is broken, and no rule of it may be used."""


@cache
def editions() -> tuple[Edition, ...]:
    """Return every shipped edition, by file path; raises RuleFileError naming file and field."""
    return tuple(read_edition(path) for path in sorted(RULES_FOLDER.glob("*/*.toml")))


def texts() -> tuple[dict[str, Any], ...]:
    """Return every shipped rule file as JSON has it (days as text), by file path."""
    found = (tomllib.loads(path.read_text("utf-8")) for path in sorted(RULES_FOLDER.glob("*/*.toml")))
    return tuple(json.loads(json.dumps(one, default=str)) for one in found)


def read_edition(path: Path) -> Edition:
    """Read one rule file; raises RuleFileError naming file and field."""
    try:
        return parse_edition(tomllib.loads(path.read_text("utf-8")))
    except InputError as error:
        raise RuleFileError(f"{path.name}, {error.field}: {error}") from error
    except (OSError, ValueError) as error:  # not readable, not UTF-8, not TOML
        raise RuleFileError(f"{path.name}: {error}") from error


def edition(name: str) -> Edition:
    """Return the edition of that id, regime or title, the latest when several are meant, or the rig's own copy.

    Raises InputError for `rule` when there is none. One query for a copy, none for a published edition.
    """
    if MARK not in name:
        return published(name)
    found = editions_named([name]).get(name)
    if found is None:
        raise InputError("rule", f"{name!r} is no rig's own copy of rules.", "Choose the rules of the rig anew.")
    return found


def published(name: str) -> Edition:
    """Return the published edition of that id, regime or title, or the one behind a rig's own copy. No query."""
    source = name.partition(MARK)[0]
    named = [one for one in editions() if one.is_named(source)]
    if not named:
        known = ", ".join(one.id for one in editions())
        raise InputError("rule", f"{name!r} is no edition of the rule book.", f"Known are: {known}.")
    return max(named, key=lambda one: one.ordered_by)


def editions_named(ids: Iterable[str]) -> dict[str, Edition]:
    """Return the editions of these ids, each by its id; those that are not known are left out. One query at most."""
    asked = set(ids)
    found = {one.id: one for one in editions() if one.id in asked}
    keys = [name.partition(MARK)[2] for name in asked if MARK in name]
    numbers = [int(key) for key in keys if key.isascii() and key.isdigit() and len(key) <= _LONGEST_KEY]
    copies = ProgrammeCopy.objects.filter(pk__in=numbers) if numbers else ()
    return found | {copy.edition: edition_of_copy(copy) for copy in copies if copy.edition in asked}


def edition_of_copy(copy: ProgrammeCopy) -> Edition:
    """Return a rig's own copy as an edition; raises InputError where it no longer fits the edition it was made from."""
    return _with_changes(copy.source, copy.edition, copy.number, json.dumps(copy.changes, sort_keys=True))


def own_words(number: int) -> str:
    """Return how a copy is told from the edition it was made from."""
    return f"with the rig's own changes no. {number}"


_LONGEST_KEY = 15


@lru_cache(maxsize=512)
def _with_changes(source: str, name: str, number: int, changes: str) -> Edition:
    # By what the copy says and not by its key alone: a key taken back by a database is given out again.
    return applied(published(source), parse_changes(json.loads(changes)), edition_id=name, words=own_words(number))
