"""Works out what is owed on every rig, or on one, and writes what differs."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from tests_app.actions.obligations import reconcile_each
from tests_app.management.rigs_asked import ask_for_rig, rigs_asked


class Command(BaseCommand):
    help = "Work out what is owed on every rig from what happened, and write what differs from what is stored."

    def add_arguments(self, parser: ArgumentParser) -> None:
        ask_for_rig(parser)

    def handle(self, *_: Any, rig: str, **__: Any) -> None:
        failed = 0
        for one, done in reconcile_each(rigs_asked(rig).iterator(), at=timezone.now()):
            if isinstance(done, Exception):
                failed += 1
                self.stderr.write(f"{one.name}: could not be worked out: {done}")
                continue
            self.stdout.write(
                f"{one.name}: {len(done.added)} added, {len(done.changed)} changed, {len(done.removed)} removed"
            )
        if failed:
            raise CommandError(f"Not every rig could be worked out: {failed} failed. The log says why.")
