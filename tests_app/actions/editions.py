"""Taking the shipped rule files on file: each text once, whatever becomes of the files."""

from datetime import datetime
from typing import Any

from django.db import transaction

from tests_app import rulebook
from tests_app.models import EditionText
from tests_app.queries.editions import texts_not_on_file
from trail import entries
from trail.actors import Actor


@transaction.atomic
def load_editions(*, by: Actor, at: datetime) -> list[EditionText]:
    """Keep every text of the rule book that is not on file yet; return the new ones. Running it again adds nothing."""
    return [_kept(text, sha256, by, at) for sha256, text in texts_not_on_file()]


def _kept(text: dict[str, Any], sha256: str, by: Actor, at: datetime) -> EditionText:
    edition = rulebook.edition(text["id"])
    row = EditionText.objects.create(
        edition=edition.id,
        sha256=sha256,
        content=text,
        title=edition.title,
        edition_words=edition.edition,
        source=edition.source,
        effective_from=edition.effective_from,
        effective_until=edition.effective_until,
        checked_on=edition.checked_on,
        loaded_at=at,
    )
    shown = {name: value for name, value in entries.snapshot(row).items() if name != "content"}
    entries.write("edition.loaded", row, by=by, at=at, after=shown)
    return row
