"""Loads the demo: two invented rigs with nine months of history, dated back from today."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from tests_app.actions.obligations import reconciling_once
from tests_app.after_commit import as_backlog
from tests_app.management.demo import scenario
from tests_app.management.demo.alerts import tell_from_now_on
from tests_app.queries.demo import anything_on_file

FILES = ("saltmarsh-7.toml", "larkspur-deep.toml")


class Command(BaseCommand):
    help = "Load the demo (invented rigs, stacks and nine months of tests) into an empty database."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--if-empty", action="store_true", help="do nothing when there are rigs or people already")

    def handle(self, *_: Any, if_empty: bool, **__: Any) -> None:
        if anything_on_file():
            if if_empty:
                return
            raise CommandError("There are rigs or people on file. The demo is loaded into an empty database only.")
        self._load(Path(settings.BASE_DIR) / "fixtures" / "demo")

    @transaction.atomic
    def _load(self, folder: Path) -> None:
        at = timezone.now()
        logins = scenario.read(folder / "logins.toml")
        people = scenario.people_of(logins)
        for name in FILES:
            given = scenario.read(folder / name)
            self.stdout.write(f"Loading the demo: {given['rig']['name']} …")
            self.stdout.flush()
            with as_backlog(), reconciling_once():
                rig = scenario.build(given, logins, people, at=at)
            tell_from_now_on(rig, people, at=at)
        self.stdout.write("The demo is loaded.")
