"""Makes an invented fleet for measuring: many rigs with years of sealed tests, written in bulk."""

from argparse import ArgumentParser
from datetime import datetime
from time import monotonic
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from tests_app.management.fleet.fleet import NotOurs, already_made, make_rigs


class Command(BaseCommand):
    help = (
        "Make an invented fleet for measuring, in a database without rigs. A run that was broken off goes on where it "
        "stopped; each rig is there whole or not at all. 200 rigs of 5 years: 25,000 components, 3 million lines."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--rigs", type=_some, default=200, help="how many rigs (200)")
        parser.add_argument("--years", type=_some, default=5, help="how many years of history (5)")
        parser.add_argument("--seed", type=int, default=1, help="another number makes another fleet (1)")
        parser.add_argument("--until", type=_moment, help="when the history ends, ISO with a zone (now)")

    def handle(self, *_: Any, rigs: int, years: int, seed: int, until: datetime | None, **__: Any) -> None:
        try:
            made = already_made(rigs)
        except NotOurs as error:
            raise CommandError(f"{error} Make a fleet in a database of its own (DATABASE_URL).") from error
        if made:
            self.stdout.write(f"{made} of {rigs} rigs are there already; going on with the next.")
        started, lines, components = monotonic(), 0, 0
        for one in make_rigs(made + 1, rigs, years=years, seed=seed, until=until or timezone.now()):
            lines += one.lines
            components += one.components
            made += 1
            self.stdout.write(
                f"{made}/{rigs} {one.rig.name}: {one.components} components, {one.lines:,} lines of tests, "
                f"{one.obligations} obligations; "
                f"{lines:,} lines in {monotonic() - started:.0f} s"
            )
            self.stdout.flush()
        self.stdout.write(f"Written: {components:,} components, {lines:,} lines of tests.")


def _some(text: str) -> int:
    number = int(text)
    if number < 1:
        raise ValueError
    return number


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    if timezone.is_naive(moment):
        raise ValueError("The moment has no zone.")
    return moment
