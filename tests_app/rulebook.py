"""The rule book: published editions as shipped, read once from their files.

The one place that touches `fixtures/rules`; everything else is handed editions.
"""

import json
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from calcs.errors import InputError
from calcs.rule_files import parse_edition
from calcs.rules import Edition

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
    """Return the edition of that id, regime or title, the latest when several are meant.

    Raises InputError for `rule` when there is none.
    """
    named = [one for one in editions() if one.is_named(name)]
    if not named:
        known = ", ".join(one.id for one in editions())
        raise InputError("rule", f"{name!r} is no edition of the rule book.", f"Known are: {known}.")
    return max(named, key=lambda one: one.ordered_by)
