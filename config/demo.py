"""The demo's sign-ins, for the greeting at the start and for the check that keeps them out of production."""

import tomllib
from pathlib import Path
from typing import Final

DEMO_LOGINS: Final = Path(__file__).resolve().parents[1] / "fixtures" / "demo" / "logins.toml"


def demo_logins(path: Path = DEMO_LOGINS) -> list[dict[str, str]]:
    """Return the sign-ins as the file lists them (`user`, `password`, `role`); none when there is no such file."""
    if not path.exists():
        return []
    with path.open("rb") as file:
        return list(tomllib.load(file).get("login", []))
