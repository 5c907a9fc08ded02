"""Runs every module of this folder that asks a question, and prints a table: `make bench`.

A module asks by offering `contests()`, a list of bench.contest.Contest, or `bounds()`, a list of bench.contest.Bound.
Words in ARGS (`make bench ARGS=holds`) choose modules by name; `--rigs` and `--years` size the invented fleet that
`fleet` is asked about (`make bench ARGS="fleet --rigs 200"`). With DATABASE_URL the fleet is made in that database and
found there again. The exit code is 1 when a limit was not kept.
"""

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")

from bench.contest import Bound, Outcome, held  # noqa: E402 - found by the path added above

NO_QUESTIONS = {"__init__", "run", "contest", "scratch"}
HEADS = ("question", "ours", "usual", "19 of 20", "a second", "floor", "ratio", "limit", "", "floor is")
BOUND_HEADS = ("question", "found", "limit", "")


def asked(words: list[str]) -> list[ModuleType]:
    """Return the modules that ask, or those whose name holds one of the words."""
    chosen = [path.stem for path in sorted(HERE.glob("*.py")) if path.stem not in NO_QUESTIONS]
    if words:
        chosen = [name for name in chosen if any(word in name for word in words)]
    return [importlib.import_module(f"bench.{name}") for name in chosen]


def row(outcome: Outcome) -> tuple[str, ...]:
    """Return the outcome as the cells of the table."""
    contest = outcome.contest
    times = tuple(f"{seconds * 1000:.1f} ms" for seconds in (outcome.ours, outcome.within(0.5), outcome.within(0.95)))
    rate = f"{contest.things / outcome.ours:,.0f}" if contest.things else ""
    word = "kept" if outcome.kept else "NOT KEPT"
    floor = f"{outcome.floor * 1000:.1f} ms"
    return (
        contest.question,
        *times,
        rate,
        floor,
        f"{outcome.ratio:.2f}",
        f"{contest.limit:.2f}",
        word,
        contest.floor_is,
    )


def bound_row(bound: Bound) -> tuple[str, ...]:
    """Return what was counted as the cells of its table."""
    word = "kept" if bound.kept else "NOT KEPT"
    return (bound.question, f"{bound.found:,.0f} {bound.unit}", f"{bound.limit:,.0f} {bound.unit}", word)


def table(rows: Sequence[tuple[str, ...]]) -> str:
    """Return the table with its columns aligned."""
    widths = [max(len(cells[column]) for cells in rows) for column in range(len(rows[0]))]
    return "\n".join("  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)) for cells in rows)


def main() -> int:
    """Hold every contest asked for and print what came of it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("words", nargs="*")
    parser.add_argument("--rigs", default="20")
    parser.add_argument("--years", default="5")
    given = parser.parse_args()
    os.environ |= {"BENCH_RIGS": given.rigs, "BENCH_YEARS": given.years}
    modules = asked(given.words)
    if not modules:
        print("No module of bench/ asks that.", file=sys.stderr)
        return 1
    contests = [contest for module in modules if hasattr(module, "contests") for contest in module.contests()]
    outcomes = [held(contest) for contest in contests]
    if outcomes:
        print(table([HEADS, *(row(outcome) for outcome in outcomes)]))
    bounds = [bound for module in modules if hasattr(module, "bounds") for bound in module.bounds()]
    if bounds:
        print(table([BOUND_HEADS, *(bound_row(bound) for bound in bounds)]))
    return 0 if all(one.kept for one in (*outcomes, *bounds)) else 1


if __name__ == "__main__":
    sys.exit(main())
