"""How long tests take and what is tested together, as shipped: figures to plan with, none of them a rule's.

The one place that reads `fixtures/planning`.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from tests_app.models import What

_FILE: Final = Path(__file__).resolve().parent.parent / "fixtures" / "planning" / "durations.toml"


class DurationFileError(RuntimeError):
    """The shipped file can't be read: the installation is broken."""


@dataclass(frozen=True, slots=True)
class Together:
    """What is tested together in one window.

    Attributes:
        key: names it in addresses.
        title: in words.
        per_stack: whether each stack has windows of its own.
        set_up: minutes a window takes beside the tests.
        minutes: of each kind of test in it.
    """

    key: str
    title: str
    per_stack: bool
    set_up: int
    minutes: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Durations:
    """All that is tested together, in the order it is planned in, and on what the figures rest."""

    together: tuple[Together, ...]
    source: str

    def of(self, what: str) -> Together:
        """Return with what a kind of test is made."""
        return next(one for one in self.together if what in one.minutes)


@cache
def durations() -> Durations:
    """Return the shipped figures; raises DurationFileError for a kind of test that stands in none or in two."""
    read = tomllib.loads(_FILE.read_text("utf-8"))
    together = tuple(
        Together(one["key"], one["title"], one["per_stack"], one["set_up"], one["what"]) for one in read["together"]
    )
    named = sorted(what for one in together for what in one.minutes)
    if named != sorted(What.values):
        raise DurationFileError(f"{_FILE.name} names {named}, and should name each of {sorted(What.values)} once.")
    return Durations(together, read["source"])
