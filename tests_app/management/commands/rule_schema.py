"""Prints the JSON Schema of rule files; fixtures/rules/edition.schema.json holds what it prints."""

import json
from typing import Any

from django.core.management.base import BaseCommand

from calcs.rule_schema import edition_schema


class Command(BaseCommand):
    help = __doc__

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(json.dumps(edition_schema(), indent=1, ensure_ascii=False))
