"""The version: read from the top line of CHANGELOG.md, so that neither can be forgotten."""

import re
from pathlib import Path
from typing import Final

_TOP_LINE: Final = re.compile(r"# (?P<version>\d+\.\d+\.\d+)\s*")


class NoVersion(ValueError):
    """The change log does not begin with a version."""


def version_in(changelog: Path) -> str:
    """Return the version that heads the change log.

    Raises:
        NoVersion: its first line is not `# major.minor.patch`.
    """
    with changelog.open(encoding="utf-8") as lines:
        found = _TOP_LINE.fullmatch(lines.readline())
    if found is None:
        raise NoVersion(f"The first line of {changelog.name} must be '# major.minor.patch'.")
    return found["version"]
