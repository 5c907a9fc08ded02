"""Rule files and their schema: every shipped edition conforms, and neither lets pass what the other's keys don't know.

The judge of a schema is jsonschema, a library of its own that knows nothing of the readers.
"""

import copy
import json
import random
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from jsonschema import Draft202012Validator

from calcs.errors import InputError
from calcs.rule_files import parse_edition
from calcs.rule_schema import edition_schema
from tests_app.rulebook import RULES_FOLDER

SCHEMA_FILE: Final = RULES_FOLDER / "edition.schema.json"
FILES: Final = sorted(RULES_FOLDER.glob("*/*.toml"))
MUTATIONS: Final = 8
VALIDATOR: Final = Draft202012Validator(edition_schema())


def as_json(path: Path) -> Any:
    """Return a rule file as JSON has it: days as text."""
    return json.loads(json.dumps(tomllib.loads(path.read_text("utf-8")), default=lambda day: day.isoformat()))


def objects_of(document: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the path of every object in a document."""
    if isinstance(document, dict):
        yield path
        for key, value in document.items():
            yield from objects_of(value, (*path, key))
    elif isinstance(document, list):
        for index, value in enumerate(document):
            yield from objects_of(value, (*path, index))


def at(document: Any, path: tuple[Any, ...]) -> Any:
    for step in path:
        document = document[step]
    return document


def test_the_schema_is_one_and_the_file_beside_the_rules_holds_it() -> None:
    Draft202012Validator.check_schema(edition_schema())
    assert json.loads(SCHEMA_FILE.read_text("utf-8")) == edition_schema()


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_edition_conforms(path: Path) -> None:
    assert [f"{error.json_path}: {error.message}" for error in VALIDATOR.iter_errors(as_json(path))] == []


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_key_nobody_knows_is_refused_by_schema_and_reader_wherever_it_stands(path: Path) -> None:
    chance = random.Random(path.stem)
    edition = as_json(path)
    everywhere = list(objects_of(edition))
    for where in chance.sample(everywhere, min(MUTATIONS, len(everywhere))):
        spoilt = copy.deepcopy(edition)
        at(spoilt, where)["tolerence"] = "1 psi"
        assert not VALIDATOR.is_valid(spoilt), where
        with pytest.raises(InputError) as refused:
            parse_edition(spoilt)
        assert "tolerence" in refused.value.field or where[0] == "defaults", where


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_what_the_schema_refuses_for_want_of_a_key_the_reader_refuses_too(path: Path) -> None:
    chance = random.Random(path.stem)
    edition = as_json(path)
    keys = [(where, key) for where in objects_of(edition) for key in at(edition, where)]
    refused = 0
    for where, key in chance.sample(keys, min(2 * MUTATIONS, len(keys))):
        spoilt = copy.deepcopy(edition)
        del at(spoilt, where)[key]
        if VALIDATOR.is_valid(spoilt):
            continue
        refused += 1
        with pytest.raises(InputError):
            parse_edition(spoilt)
    assert refused


def test_a_file_of_another_vocabulary_is_refused_rather_than_half_understood() -> None:
    edition = {**as_json(FILES[0]), "format": 2}
    assert not VALIDATOR.is_valid(edition)
    with pytest.raises(InputError) as refused:
        parse_edition(edition)
    assert refused.value.field == "format"
