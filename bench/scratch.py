"""The invented fleet that questions about many rigs are asked on, and the bare SQL of an answer."""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import django

django.setup()

from django.core.management import call_command  # noqa: E402 - after the settings are there
from django.db import connection  # noqa: E402

from equipment.models import Rig  # noqa: E402


@cache
def fleet() -> list[Rig]:
    """Return the rigs of the fleet, made where they are not there yet."""
    if connection.vendor == "sqlite":
        Path(str(connection.settings_dict["NAME"])).parent.mkdir(parents=True, exist_ok=True)
    call_command("migrate", verbosity=0)
    rigs, years = int(os.environ.get("BENCH_RIGS", "20")), int(os.environ.get("BENCH_YEARS", "5"))
    call_command("make_fleet", rigs=rigs, years=years)
    return list(Rig.objects.order_by("pk")[:rigs])


@dataclass(frozen=True)
class Bare:
    """The reading SQL something sent to the database, to be sent again with nothing around it."""

    statements: Sequence[tuple[str, Any]]

    @classmethod
    def of(cls, way: Callable[[], object]) -> "Bare":
        """Note what a way reads while it runs once."""
        noted: list[tuple[str, Any]] = []

        def note(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
            if sql.lstrip().upper().startswith("SELECT"):
                noted.append((sql, params))
            return execute(sql, params, many, context)

        with connection.execute_wrapper(note):
            way()
        return cls(noted)

    def __call__(self) -> int:
        """Send it all and fetch every row; returns how many came."""
        rows = 0
        with connection.cursor() as cursor:
            for sql, params in self.statements:
                cursor.execute(sql, params)
                rows += len(cursor.fetchall())
        return rows
