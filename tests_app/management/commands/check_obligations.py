"""Holds what is stored of each rig's obligations against what follows from what happened; writes nothing."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from equipment.models import Rig
from tests_app.management.rigs_asked import ask_for_rig, rigs_asked
from tests_app.queries.reckoned import Reconciled, differences


class Command(BaseCommand):
    help = "Compare stored obligations with what follows from what happened; print differences and exit with 1."

    def add_arguments(self, parser: ArgumentParser) -> None:
        ask_for_rig(parser)

    def handle(self, *_: Any, rig: str, **__: Any) -> None:
        at, count, looked_at = timezone.now(), 0, 0
        for one in rigs_asked(rig).iterator():
            found = differences(one, at=at)
            looked_at += 1
            count += found.count
            self._tell(one, found)
        if count:
            raise CommandError(f"{count} obligations are not stored as they should be. Run: manage.py reconcile")
        self.stdout.write(f"Obligations of {looked_at} rigs are stored as they follow from what happened.")

    def _tell(self, rig: Rig, found: Reconciled) -> None:
        for key in found.added:
            self.stdout.write(f"{rig.name}: {key} is owed and not stored")
        for key, columns in found.changed.items():
            self.stdout.write(f"{rig.name}: {key} differs in {', '.join(columns)}")
        for key in found.removed:
            self.stdout.write(f"{rig.name}: {key} is stored and not owed")
