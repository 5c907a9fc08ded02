"""The recorder files in `fixtures/recordings`: one of each way recorders write them, some of them failing.

They are made by the invented recorder and kept in the repository, so that an upload can be tried by hand.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from tests_app.management.demo.recorder import (
    MadeDrop,
    MadeHold,
    as_clock_csv,
    as_csv,
    as_tab_bar,
    as_two_channels,
    drawdown_samples,
    samples,
)

_FIVE_MINUTES: Final = 300
_ANNULAR: Final = MadeHold(3_500, _FIVE_MINUTES)
_RAM: Final = MadeHold(10_000, _FIVE_MINUTES)
_STARTED: Final = datetime(2026, 3, 7, 23, 30, tzinfo=ZoneInfo("America/Chicago"))
"""The night before clocks go forward: the file runs across midnight."""


def _leaking(target_psi: float, fault: str) -> MadeHold:
    return MadeHold(target_psi, _FIVE_MINUTES, fault)


_DRAWDOWN: Final = (
    MadeDrop(1_793, 1_816, 24, 45),
    MadeDrop(1_578, 1_605, 14, 45),
    MadeDrop(1_398, 1_428, 12, 45),
    MadeDrop(1_382, 1_412, 5, 45),
    MadeDrop(1_370, 1_660, 5, 900),
)
"""What sixteen healthy bottles of 10 gal show from 3,000 psi: an annular, two rams, two valves, then a wait."""
_BOTTLES_SHUT: Final = (
    MadeDrop(1_576, 1_601, 24, 45),
    MadeDrop(1_353, 1_382, 14, 45),
    MadeDrop(1_171, 1_203, 12, 45),
    MadeDrop(1_158, 1_190, 5, 45),
    MadeDrop(1_143, 1_519, 5, 900),
)
"""The same with four of the sixteen shut off."""

FILES: Final[Mapping[str, Callable[[], str]]] = {
    "annular-3500-passes.csv": lambda: as_csv(samples([_ANNULAR], seed=1)),
    "ram-10000-passes-10hz.csv": lambda: as_csv(samples([_RAM], seed=2, interval_s=0.1)),
    "ram-10000-passes-every-10s.csv": lambda: as_csv(samples([_RAM], seed=3, interval_s=10.0)),
    "ram-10000-leaks-high.csv": lambda: as_csv(samples([_leaking(10_000, "high-leak")], seed=4)),
    "ram-10000-leaks-low.csv": lambda: as_csv(samples([_leaking(10_000, "low-leak")], seed=5)),
    "annular-3500-low-overshoots.csv": lambda: as_csv(samples([_leaking(3_500, "low-overshoot")], seed=6)),
    "whole-stack-passes.csv": lambda: as_csv(samples([_ANNULAR, _RAM, _RAM, _RAM], seed=7)),
    "whole-stack-third-step-leaks.csv": lambda: as_csv(
        samples([_ANNULAR, _RAM, _leaking(10_000, "high-leak"), _RAM], seed=8)
    ),
    "whole-stack-clock-kpa-semicolons.csv": lambda: as_clock_csv(
        samples([_ANNULAR, _RAM, _RAM, _RAM], seed=9), start=_STARTED, serial="DR-410"
    ),
    "ram-10000-bar-tabs.tsv": lambda: as_tab_bar(samples([_RAM], seed=10)),
    "drawdown-16-bottles.csv": lambda: as_csv(drawdown_samples(3_000, _DRAWDOWN, seed=13)),
    "drawdown-4-of-16-shut-off.csv": lambda: as_csv(drawdown_samples(3_000, _BOTTLES_SHUT, seed=14)),
    "ram-10000-two-channels.csv": lambda: as_two_channels(samples([_RAM], seed=11), seed=12),
}
"""Name of each file and what writes it."""
