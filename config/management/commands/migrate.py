"""`manage.py migrate`: Django's own, without asking the database first for what it is about to make."""

from typing import Any

from django.core.management.commands import migrate


class Command(migrate.Command):
    """Make and change the tables, and the guards of what may not change.

    Django's asks every check of the database before it begins. Guards that are not there yet would stop it, and the
    way to have them made is this command.
    """

    def check(self, *args: Any, **options: Any) -> None:
        super().check(*args, **{**options, "databases": None})
