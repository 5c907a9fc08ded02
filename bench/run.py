"""Runs every module of this folder that asks a question, and prints a table: `make bench`.

A module asks by offering `contests()`, a list of bench.contest.Contest. Words in ARGS (`make bench ARGS=holds`) choose
modules by name. The exit code is 1 when a limit was not kept.
"""

import importlib
import os
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")

from bench.contest import Contest, Outcome, held  # noqa: E402 - found by the path added above

NO_QUESTIONS = {"__init__", "run", "contest"}
HEADS = ("question", "ours", "floor", "ratio", "limit", "", "floor is")


def asked(words: list[str]) -> list[Contest]:
    """Return the contests of every module, or of those whose name holds one of the words."""
    chosen = [path.stem for path in sorted(HERE.glob("*.py")) if path.stem not in NO_QUESTIONS]
    if words:
        chosen = [name for name in chosen if any(word in name for word in words)]
    return [contest for name in chosen for contest in importlib.import_module(f"bench.{name}").contests()]


def row(outcome: Outcome) -> tuple[str, ...]:
    """Return the outcome as the cells of the table."""
    contest = outcome.contest
    times = (f"{outcome.ours * 1000:.1f} ms", f"{outcome.floor * 1000:.1f} ms")
    word = "kept" if outcome.kept else "NOT KEPT"
    return (contest.question, *times, f"{outcome.ratio:.2f}", f"{contest.limit:.2f}", word, contest.floor_is)


def table(outcomes: list[Outcome]) -> str:
    """Return the table with its columns aligned."""
    rows = [HEADS, *(row(outcome) for outcome in outcomes)]
    widths = [max(len(cells[column]) for cells in rows) for column in range(len(HEADS))]
    return "\n".join("  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)) for cells in rows)


def main() -> int:
    """Hold every contest asked for and print what came of it."""
    contests = asked(sys.argv[1:])
    if not contests:
        print("No module of bench/ asks that.", file=sys.stderr)
        return 1
    outcomes = [held(contest) for contest in contests]
    print(table(outcomes))
    return 0 if all(outcome.kept for outcome in outcomes) else 1


if __name__ == "__main__":
    sys.exit(main())
