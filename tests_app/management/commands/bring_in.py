"""Tells what would happen to each row of a file of components, installations or past tests, and brings it in."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from accounts.models import User
from equipment.errors import NotAllowed, NotYours, Refused
from equipment.models import Rig
from equipment.queries import access
from tests_app.actions import bringing_in
from tests_app.management.rigs_asked import rigs_asked
from tests_app.models import BroughtFile, FileState, SheetKind
from tests_app.queries.brought import RIGHT_FOR, counts_of

_WORDS = {"add": "would be added", "same": "on file already", "refused": "refused"}


class Command(BaseCommand):
    help = "Tell what would happen to each row of a CSV or XLSX file; with --confirm bring it in, all of it or nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("sheet", choices=SheetKind.values, help="what the rows are")
        parser.add_argument("file", type=Path, help="the CSV or XLSX file")
        parser.add_argument("--rig", required=True, help="name of the rig")
        parser.add_argument("--by", required=True, help="user name of who brings it in, with the right to")
        parser.add_argument("--confirm", action="store_true", help="bring it in where no row is refused")

    def handle(self, *_: Any, sheet: str, file: Path, rig: str, by: str, confirm: bool, **__: Any) -> None:
        person = User.objects.filter(username=by, is_active=True).first()
        if person is None:
            raise CommandError(f"There is no person with the user name {by}.")
        tried = self._tried(rigs_asked(rig).get(), sheet, file, person)
        if not confirm:
            self.stdout.write("Nothing was changed. Give --confirm to bring it in.")
            return
        try:
            confirmed = bringing_in.confirm_file(tried, by=person, at=timezone.now())
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        done = bringing_in.bring_in(confirmed, by=person, at=timezone.now())
        if done.state != FileState.BROUGHT_IN:
            self._tell(done)
            raise CommandError("Something changed meanwhile: nothing was brought in.")
        self.stdout.write("Brought in.")

    def _tried(self, rig: Rig, sheet: str, path: Path, person: User) -> BroughtFile:
        at = timezone.now()
        try:
            access.check(person, rig, needs=RIGHT_FOR[sheet])
            content = path.read_bytes()
            file = bringing_in.receive_file(rig, sheet=sheet, name=path.name, content=content, by=person, at=at)
        except (NotAllowed, NotYours, Refused, OSError) as error:
            raise CommandError(str(error)) from error
        tried = bringing_in.try_out(file, by=person, at=at)
        self._tell(tried)
        return tried

    def _tell(self, file: BroughtFile) -> None:
        for one in file.results:
            why = f" {one['field']}: {one['reason']} {one['remedy']}" if one["result"] == "refused" else ""
            self.stdout.write(f"Row {one['row']}, {one['what']}: {_WORDS[one['result']]}.{why}")
        told = ", ".join(f"{count} {_WORDS[key]}" for key, count in counts_of(file).items())
        self.stdout.write(f"{file.row_count} rows: {told}. {file.problem}".rstrip())
