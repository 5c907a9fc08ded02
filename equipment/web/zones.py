"""Time zones as a form offers them: each place once, under the name it has today."""

import zoneinfo
from functools import lru_cache
from importlib import resources
from typing import Any, Final

_AREAS: Final = (
    "Africa/",
    "America/",
    "Antarctica/",
    "Asia/",
    "Atlantic/",
    "Australia/",
    "Europe/",
    "Indian/",
    "Pacific/",
)


@lru_cache(maxsize=1)
def zone_names() -> tuple[str, ...]:
    """Return the zones of the table that comes with the IANA time zone database, ``zone.tab``, by name.

    That table names each place once; the database itself also knows the names of former times, such as
    Asia/Calcutta, which would stand in a list as doubles.
    """
    table = resources.files("tzdata.zoneinfo").joinpath("zone.tab").read_text(encoding="utf-8")
    rows = (line.split("\t") for line in table.splitlines() if line and not line.startswith("#"))
    return tuple(sorted({row[2] for row in rows} & zoneinfo.available_timezones()))


def zone_choices() -> list[tuple[str, Any]]:
    """Return the zones by area, for a form."""
    groups: list[tuple[str, Any]] = [("", "Choose…"), ("Etc/UTC", "UTC, no summer time")]
    for area in _AREAS:
        zones = [(name, name.removeprefix(area).replace("_", " ")) for name in zone_names() if name.startswith(area)]
        groups.append((area.rstrip("/"), zones))
    return groups
