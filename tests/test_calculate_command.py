"""`manage.py calculate` as a person or a script runs it: a process, a pipe, an exit status."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from calcs.surface import CALCULATIONS

ROOT = Path(__file__).resolve().parent.parent
COLUMN = b'{"mud_weight": "10 lb/gal", "depth": "7000 ft"}'


def run(*arguments: str, stdin: bytes = b"") -> tuple[int, str]:
    """Run the command where no database answers; return exit status and standard output."""
    environment = {**os.environ, "DATABASE_URL": "postgres://nobody@127.0.0.1:1/nothing"}
    command = [sys.executable, "manage.py", "calculate", *arguments]
    done = subprocess.run(command, cwd=ROOT, env=environment, input=stdin, capture_output=True, check=False)
    assert b"Traceback" not in done.stderr, done.stderr.decode()
    return done.returncode, done.stdout.decode("ascii")


def test_a_document_in_an_answer_out_without_a_database():
    status, output = run("hydrostatic", stdin=COLUMN)
    assert status == 0
    assert json.loads(output)["pressure"]["value"] == pytest.approx(3636.36, abs=0.01)


@pytest.mark.parametrize(
    ("stdin", "field"),
    [
        (b"", ""),
        (b"{", ""),
        (b"[1]", ""),
        (b"\x00\xff", ""),
        (b'{"mud_weight": NaN, "depth": "7000 ft"}', "mud_weight"),
        (b'{"mud_weight": "10 lb/gal", "depth": "-1 ft"}', "depth"),
        (b'{"mud_weight": "10 lb/gal"}', "depth"),
        (b'{"mud_weight": "10 lb/gal", "depth": "7000 ft", "deep": 1}', "deep"),
        (b'{"mud_weight": "10 lb/gal", "depth": "7000 ft", "\\ud800": 1}', "\ud800"),
    ],
)
def test_bad_input_is_exit_2_and_a_readable_error(stdin: bytes, field: str):
    status, output = run("hydrostatic", stdin=stdin)
    assert status == 2
    error = json.loads(output)["error"]
    assert error["field"] == field
    assert error["message"]


@pytest.mark.parametrize("arguments", [(), ("hydrostatics",), ("hydrostatics", "--lines")])
def test_an_unknown_name_lists_the_known_ones(arguments: tuple[str, ...]):
    status, output = run(*arguments, stdin=COLUMN)
    assert status == 2
    assert all(name in json.loads(output)["error"]["message"] for name in CALCULATIONS)


def test_lines_are_answered_one_by_one_and_refused_ones_in_their_place():
    lines = [COLUMN, b"nonsense", b'{"depth": 5}', COLUMN]
    status, output = run("hydrostatic", "--lines", stdin=b"\n".join(lines) + b"\n\n")
    assert status == 0
    answers = [json.loads(line) for line in output.splitlines()]
    assert ["error" in answer for answer in answers] == [False, True, True, False]
    assert answers[0] == answers[3]


def test_the_list_names_every_calculation():
    status, output = run("--list")
    assert status == 0
    assert [line.split()[0] for line in output.splitlines()] == list(CALCULATIONS)


def test_rules_are_read_from_the_rule_book():
    document = b'{"component": {"kind": "annular", "rwp": "5000 psi"}, "rule": "us-ocs"}'
    status, output = run("test-pressures", stdin=document)
    assert status == 0
    assert json.loads(output)["high"] == {"value": 3500.0, "unit": "psi"}
