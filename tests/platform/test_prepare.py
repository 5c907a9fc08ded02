"""Preparing beside a running server: what it serves is never away."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.test import override_settings

from config import prepare


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("DJANGO_SETTINGS_MODULE", "config.settings.embedded")
    monkeypatch.setenv("WELLHOLD_VAR", str(tmp_path / "var"))
    with override_settings(STATIC_ROOT=tmp_path / "static"):
        yield tmp_path / "static"


def test_what_a_page_loaded_earlier_refers_to_stays(root: Path):
    earlier = root / "css" / "page.0123456789ab.css"
    earlier.parent.mkdir(parents=True)
    earlier.write_text("body {}")
    prepare.collect_static()
    assert earlier.read_text() == "body {}"
    names = json.loads((root / "staticfiles.json").read_text())["paths"]
    assert all((root / name).is_file() for name in names.values())
    assert [path.name for path in root.parent.iterdir() if path.name.startswith("static-")] == []


def test_nothing_is_gathered_again_while_nothing_changed(root: Path):
    prepare.collect_static()
    list_of_names = root / "staticfiles.json"
    list_of_names.write_text("{}")
    prepare.collect_static()
    assert list_of_names.read_text() == "{}"
