"""Holds what is stored of each rig's obligations against what follows from what happened; writes nothing."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from equipment.models import Rig
from tests_app.queries.reckoned import Reconciled, differences


class Command(BaseCommand):
    help = "Compare stored obligations with what follows from what happened; print differences and exit with 1."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--rig", default="", help="name of one rig; all without it")

    def handle(self, *_: Any, rig: str, **__: Any) -> None:
        rigs = Rig.objects.filter(name=rig) if rig else Rig.objects.all()
        if rig and not rigs:
            raise CommandError(f"There is no rig named {rig}.")
        at, count, looked_at = timezone.now(), 0, 0
        for one in rigs.iterator():
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
