"""Takes the shipped rule files on file in the database; a text that is there already is left alone."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from tests_app.actions.editions import load_editions
from trail.actors import System


class Command(BaseCommand):
    help = __doc__

    def handle(self, *args: Any, verbosity: int, **options: Any) -> None:
        new = load_editions(by=System.RULE_BOOK, at=timezone.now())
        if verbosity:
            for text in new:
                self.stdout.write(f"Loaded {text}.")
            self.stdout.write(f"{len(new)} new texts." if len(new) != 1 else "1 new text.")
