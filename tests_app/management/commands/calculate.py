"""`manage.py calculate NAME`: a JSON document in, a JSON answer out, without a database."""

import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from calcs import surface, wire
from calcs.errors import InputError
from tests_app import rulebook

REFUSED = 2


class Command(BaseCommand):
    """Answer one calculation, or one a line."""

    help = "Answers a calculation: JSON on standard input, JSON on standard output. --list names them."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the name and the two switches."""
        parser.add_argument("name", nargs="?", default="", help="the calculation, as --list names it")
        parser.add_argument("--lines", action="store_true", help="one JSON document a line in, one answer a line out")
        parser.add_argument("--list", action="store_true", help="list the calculations and what they answer")

    def handle(self, *args: Any, **options: Any) -> None:
        """Answer; a refused document is answered as an error and exit status 2 (with --lines inline)."""
        if options["list"]:
            self._list()
            return
        try:
            surface.named(options["name"])
            if options["lines"]:
                self._answer_lines(options["name"])
            else:
                self._say(self._answer(options["name"], sys.stdin.buffer.read()), indent=2)
        except InputError as error:
            self._say(wire.refusal(error))
            sys.exit(REFUSED)

    def _list(self) -> None:
        for calculation in surface.CALCULATIONS.values():
            self.stdout.write(f"{calculation.name:16} {calculation.summary}")

    def _answer_lines(self, name: str) -> None:
        for line in sys.stdin.buffer:
            if line.strip():
                self._say(self._answer_or_refusal(name, line))
                self.stdout.flush()  # whoever asks line by line waits for the answer before the next question

    def _answer_or_refusal(self, name: str, line: bytes) -> dict[str, Any]:
        try:
            return self._answer(name, line)
        except InputError as error:
            return wire.refusal(error)

    def _answer(self, name: str, text: bytes) -> dict[str, Any]:
        return surface.calculate(name, wire.read_document(text), editions=rulebook.editions())

    def _say(self, answer: dict[str, Any], indent: int | None = None) -> None:
        self.stdout.write(wire.write_answer(answer, indent=indent))
