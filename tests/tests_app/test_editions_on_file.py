"""Rule files are taken on file in the database, each text once, and what changed between two texts is told."""

from datetime import UTC, datetime
from typing import Any, Final

import pytest
from django.core.management import call_command
from django.db import DatabaseError, transaction

from config.checks import rules_are_on_file
from tests_app import rulebook
from tests_app.actions.editions import load_editions
from tests_app.models import EditionText
from tests_app.queries.editions import texts_of
from trail.actors import System
from trail.models import TrailEntry

AT: Final = datetime(2026, 3, 18, 12, 0, tzinfo=UTC)
LATER: Final = datetime(2026, 5, 2, 12, 0, tzinfo=UTC)

pytestmark = pytest.mark.django_db


def loaded(at: datetime = AT) -> list[EditionText]:
    return load_editions(by=System.RULE_BOOK, at=at)


def test_every_shipped_edition_is_kept_with_its_trail_and_a_second_run_adds_nothing() -> None:
    assert {row.edition for row in loaded()} == {edition.id for edition in rulebook.editions()}
    assert TrailEntry.objects.filter(event="edition.loaded").count() == len(rulebook.editions())
    assert loaded(LATER) == []


def test_a_figure_put_right_adds_a_text_and_says_what_changed(monkeypatch: pytest.MonkeyPatch) -> None:
    loaded()
    texts = [_with_longer_hold(text) if text["id"] == "us-ocs/2023" else text for text in rulebook.texts()]
    monkeypatch.setattr(rulebook, "texts", lambda: texts)
    assert [row.edition for row in loaded(LATER)] == ["us-ocs/2023"]
    latest, first = texts_of("us-ocs/2023")
    assert [(one.where, one.before, one.after) for one in latest.changed] == [("defaults hold time", "5 min", "6 min")]
    assert first.changed == ()


def _with_longer_hold(text: dict[str, Any]) -> dict[str, Any]:
    defaults = text["defaults"]
    return {**text, "defaults": {**defaults, "hold": {**defaults["hold"], "time": "6 min"}}}


def test_the_database_refuses_to_change_or_lose_a_text() -> None:
    loaded()
    for statement in (EditionText.objects.all().delete, lambda: EditionText.objects.update(title="Another")):
        with pytest.raises(DatabaseError, match="never changes"), transaction.atomic():
            statement()


def test_a_start_on_rule_files_that_are_not_on_file_is_warned_of() -> None:
    assert [warning.id for warning in rules_are_on_file(databases=["default"])] == ["wellhold.W006"]
    call_command("load_rules", verbosity=0)
    assert rules_are_on_file(databases=["default"]) == []
