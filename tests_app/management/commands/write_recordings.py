"""Writes the recorder files to try into fixtures/recordings; the same each time."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from tests_app.management.demo.samples_to_try import FILES


class Command(BaseCommand):
    help = "Write the invented recorder files of fixtures/recordings anew."
    requires_system_checks: list[str] = []

    def handle(self, *_: Any, **__: Any) -> None:
        folder = Path(settings.BASE_DIR) / "fixtures" / "recordings"
        folder.mkdir(exist_ok=True)
        for name, write in FILES.items():
            (folder / name).write_text(write(), encoding="utf-8", newline="")
            self.stdout.write(name)
