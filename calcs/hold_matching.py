"""Cutting the recording of a whole test into attempts, and proposing which attempt proves which step.

An attempt is a low hold and the high hold after it, in the order they were pumped; a high hold alone where no low
test is asked. Steps are matched in
order: as many as possible with an attempt that passes, then with holds as near over their target as may be
(a 10,000 psi hold would pass a 3,500 psi step too). A proposal is only that: the tester confirms or moves it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Final, NamedTuple, TypeAlias

import numpy as np

from calcs.errors import InputError
from calcs.exposure import BLED_OFF, Beside
from calcs.hold_windows import BoolArray, Runs, runs_where
from calcs.holds import LEAST_ATTEMPT, HoldRule, judge
from calcs.recordings import Recording
from calcs.verdicts import HoldResult, HoldVerdict

Settled: TypeAlias = Mapping[int, tuple[float, float] | None]
"""Steps judged already, by index: the part each is judged on (from, to, elapsed s), None where by other evidence."""

MOST_STEPS: Final = 200
MOST_ATTEMPTS: Final = 500

_NEAR_BAND: Final = 0.2
"""A dwell this share outside the low bands still was meant as a low hold."""
_NEAR_TARGET: Final = 0.5
"""Pressure must reach this share of a target to be taken for an attempt at it."""
_LIKENESS_OF_LOW_ALONE: Final = 0.25
"""What a low dwell never pumped higher was meant for can't be known: it may be any step, as a last resort."""
_OVERSHOOT_STEP: Final = 0.01
"""Overshoots are compared in steps of 1 % of the target, so that noise does not choose between equal attempts."""


@dataclass(frozen=True, slots=True)
class FoundHold:
    """One attempt, with the step it is proposed for.

    Attributes:
        start: elapsed s from which it is judged: where the pressure was last bled off or lowered before it.
        end: elapsed s of its last sample.
        step: index of the step (of the rules given) it is proposed for, or None.
        verdict: the verdict against that step's rule; without a step, against the rule it fits best.
        judged_by: index of the rule of `verdict`.
        why: in words, why it is or is not proposed.
    """

    start: float
    end: float
    step: int | None
    verdict: HoldVerdict
    judged_by: int
    why: str

    @property
    def low(self) -> HoldResult | None:
        """The low hold of the verdict; None where no low test is asked."""
        return self.verdict.low

    @property
    def high(self) -> HoldResult:
        """The high hold of the verdict."""
        return self.verdict.high

    @property
    def passes(self) -> bool:
        """True when it is proposed for a step and meets that step's rule."""
        return self.step is not None and self.verdict.passes


@dataclass(frozen=True, slots=True)
class FoundHolds:
    """The attempts of a recording in order, and the steps left without one that passes.

    Attributes:
        holds: every attempt, in order of time.
        unmatched: indexes of the steps not settled before that no attempt is proposed for.
        not_passing: indexes of the steps not settled before whose proposed attempt fails.
    """

    holds: tuple[FoundHold, ...]
    unmatched: tuple[int, ...]
    not_passing: tuple[int, ...]


def find_holds(
    recording: Recording, rules: Sequence[HoldRule], *, settled: Settled = MappingProxyType({})
) -> FoundHolds:
    """Return the attempts in `recording` and the step proposed for each; `rules` holds one rule a step, in order.

    A step settled before keeps what it is judged on: no other attempt is proposed for it, and its own for no other.

    Raises InputError on ``rules`` for none or more than 200, and on ``recording`` when the pressure swings so
    often that no attempts can be told apart.
    """
    if not 0 < len(rules) <= MOST_STEPS:
        raise InputError("rules", f"There are {len(rules)} steps.", f"Give the rules of 1 to {MOST_STEPS} steps.")
    attempts = _attempts(recording, rules)
    matching = _Matching(recording, tuple(rules), attempts, settled)
    chosen = {**matching.best(), **matching.taken}
    holds = tuple(matching.found(number, chosen.get(number)) for number in range(len(attempts)))
    proposed = {hold.step: hold for hold in holds if hold.step is not None and hold.step not in settled}
    return FoundHolds(
        holds=holds,
        unmatched=tuple(step for step in range(len(rules)) if step not in proposed and step not in settled),
        not_passing=tuple(step for step, hold in sorted(proposed.items()) if not hold.passes),
    )


class _Attempt(NamedTuple):
    """An attempt as indexes of its samples: the first and the last that are judged."""

    judged_from: int
    last: int


class _Piece(NamedTuple):
    """A low dwell or a high one, as indexes of its first and last sample."""

    first: int
    last: int
    high: bool


def _attempts(recording: Recording, rules: Sequence[HoldRule]) -> list[_Attempt]:
    """Return the attempts: each low dwell with the high dwell that follows it, before the next low dwell.

    A high dwell without a low one before it stands alone.
    """
    pieces = sorted([*_low_dwells(recording, rules), *_high_dwells(recording, rules)])
    if len(pieces) > 2 * MOST_ATTEMPTS:
        raise InputError(
            "recording",
            f"The pressure rises and falls {len(pieces):,} times; no holds can be told apart.",
            "Choose the pressure channel, or export the part with the test.",
        )
    groups: list[list[_Piece]] = []
    for piece in pieces:
        follows_low = bool(groups) and not groups[-1][-1].high
        if piece.high and follows_low:
            groups[-1].append(piece)
        else:
            groups.append([piece])
    starts = [group[0].first for group in groups[1:]]
    ends = [
        _end(recording, group, until, rules) for group, until in zip(groups, [*starts, len(recording)], strict=False)
    ]
    return [
        _Attempt(_judged_from(recording, group[0].first, before), end)
        for group, before, end in zip(groups, [0, *ends], ends, strict=False)
    ]


def _end(recording: Recording, group: list[_Piece], until: int, rules: Sequence[HoldRule]) -> int:
    """Return the last sample of an attempt: of its high dwell, or where pumping on after the low came to an end.

    A pressure far under every target is no high dwell, but the verdict shall see how far it came.
    """
    last = group[-1].last
    if group[-1].high:
        return last
    pumped = np.flatnonzero(recording.pressures[last:until] > _dividing_pressure(rules))
    return last + int(pumped[-1]) if len(pumped) else last


def _judged_from(recording: Recording, first: int, before: int) -> int:
    """Return where judging begins: at the last bleeding off since the attempt before, else at the peak since then.

    Beginning at the peak keeps in sight that too high a pressure came before the low hold.
    """
    since = recording.pressures[before : first + 1]
    bled = np.flatnonzero(since < BLED_OFF)
    return before + int(bled[-1] if len(bled) else np.argmax(since))


def _dividing_pressure(rules: Sequence[HoldRule]) -> float:
    """Return the pressure that parts low from high: the restart limit, or less where a target is no higher.

    Where no step asks a low test, it parts what was pumped up from what was bled off.
    """
    lowest_target = min(rule.high_target for rule in rules)
    lows = [rule.low for rule in rules if rule.low is not None]
    if not lows:
        return _NEAR_TARGET * lowest_target
    low_max = max(low.low_max for low in lows)
    return min(max(low.restart_above for low in lows), max(low_max, (low_max + lowest_target) / 2))


def _pumped_high(rules: Sequence[HoldRule]) -> float:
    """Return the pressure an attempt must reach to have been pumped high; a low hold that overshot was not."""
    return max(_dividing_pressure(rules), _NEAR_TARGET * min(rule.high_target for rule in rules))


def _low_dwells(recording: Recording, rules: Sequence[HoldRule]) -> list[_Piece]:
    near = np.zeros(len(recording), np.bool_)
    lows = {rule.low for rule in rules if rule.low is not None}
    for low in lows:
        near |= _between(recording, (1 - _NEAR_BAND) * low.low_min, (1 + _NEAR_BAND) * low.low_max)
    least = LEAST_ATTEMPT * min((low.hold_s for low in lows), default=0.0)
    return _pieces(_lasting(recording, near, least), high=False)


def _high_dwells(recording: Recording, rules: Sequence[HoldRule]) -> list[_Piece]:
    runs = _lasting(recording, recording.pressures > _dividing_pressure(rules), 0.0)
    enough = _pumped_high(rules)
    found = _pieces(runs, high=True)
    return [piece for piece in found if float(recording.pressures[piece.first : piece.last + 1].max()) >= enough]


def _between(recording: Recording, low: float, high: float) -> BoolArray:
    return (recording.pressures >= low) & (recording.pressures <= high)


def _lasting(recording: Recording, meets: BoolArray, seconds: float) -> Runs:
    # A gap inside an attempt is for the verdict to judge; here it must not part one attempt into two.
    return runs_where(meets, recording.elapsed, np.inf).lasting(recording.elapsed, seconds)


def _pieces(runs: Runs, *, high: bool) -> list[_Piece]:
    return [_Piece(first, last, high) for first, last in zip(runs.first.tolist(), runs.last.tolist(), strict=True)]


class _Score(NamedTuple):
    """How good a matching is, compared in this order: more is better for each."""

    passing: int
    nearness: int
    proposed: int
    likeness: float

    def plus(self, other: "_Score") -> "_Score":
        return _Score(
            self.passing + other.passing,
            self.nearness + other.nearness,
            self.proposed + other.proposed,
            self.likeness + other.likeness,
        )


_NOTHING: Final = _Score(0, 0, 0, 0.0)


@dataclass(frozen=True)
class _Matching:
    """Every attempt against every step, and the best assignment that keeps their order."""

    recording: Recording
    rules: tuple[HoldRule, ...]
    attempts: list[_Attempt]
    settled: Settled

    @cached_property
    def taken(self) -> dict[int, int]:
        """Step of each attempt that lies in the part a settled step is judged on."""
        found: dict[int, int] = {}
        for step, part in sorted(self.settled.items()):
            for number, attempt in enumerate(self.attempts if part else ()):
                if part and self._at(attempt.judged_from) < part[1] and part[0] < self._at(attempt.last):
                    found.setdefault(number, step)
        return found

    @cached_property
    def verdicts(self) -> list[list[HoldVerdict]]:
        """Verdict of each attempt (row) by each step's rule (column); equal rules are judged once."""
        rows = []
        for number in range(len(self.attempts)):
            known = {rule: self._judge(number, rule) for rule in dict.fromkeys(self.rules)}
            rows.append([known[rule] for rule in self.rules])
        return rows

    def _judge(self, number: int, rule: HoldRule) -> HoldVerdict:
        attempt = self.attempts[number]
        start, end = self._at(attempt.judged_from), self._at(attempt.last)
        return judge(self.recording, rule, start=start, end=end, beside=self._beside(number))

    def _beside(self, number: int) -> Beside:
        """Return what stands beside an attempt: each is judged on what it stood under itself."""
        before = self._at(self.attempts[number - 1].last) if number else None
        after = self._at(self.attempts[number + 1].judged_from) if number + 1 < len(self.attempts) else None
        most = [rule.never_above for rule in self.rules if rule.never_above is not None]
        return Beside(before, after, max(most, default=None))

    def _at(self, index: int) -> float:
        return float(self.recording.elapsed[index])

    @cached_property
    def reached(self) -> list[float]:
        """Pressure each attempt dwelled at when high, or its highest where it never was."""
        dividing = _dividing_pressure(self.rules)
        parts = [self.recording.pressures[attempt.judged_from : attempt.last + 1] for attempt in self.attempts]
        return [float(np.median(part[part > dividing])) if part[-1] > dividing else float(part.max()) for part in parts]

    def likeness(self, attempt: int, step: int) -> float:
        """Return how like an attempt at the step it is: 1 for one that dwelled just at its target, 0 for none."""
        target = self.rules[step].high_target
        if self.reached[attempt] < _pumped_high(self.rules):
            return _LIKENESS_OF_LOW_ALONE
        return max(0.0, 1.0 - abs(self.reached[attempt] - target) / target)

    @cached_property
    def scores(self) -> list[list[_Score | None]]:
        """Worth of proposing each attempt (row) for each step (column); None where it is no attempt at it."""
        return [
            [self._score(attempt, step) for step in range(len(self.rules))] for attempt in range(len(self.attempts))
        ]

    def _score(self, attempt: int, step: int) -> _Score | None:
        if step in self.settled or attempt in self.taken:
            return None
        verdict, target = self.verdicts[attempt][step], self.rules[step].high_target
        if verdict.passes:
            # Not the lowest pressure of the judged window: that may begin on the ramp, just over any lower target.
            over = self.reached[attempt] / target - 1
            return _Score(1, -round(over / _OVERSHOOT_STEP), 1, 0.0)
        likeness = self.likeness(attempt, step)
        return _Score(0, 0, 1, likeness) if likeness >= _LIKENESS_OF_LOW_ALONE else None

    def best(self) -> dict[int, int]:
        """Return the step of each matched attempt, by the best total score; among equals the earliest attempts."""
        steps, attempts = len(self.rules), len(self.attempts)
        total = [[_NOTHING] * (attempts + 1) for _ in range(steps + 1)]
        for step in reversed(range(steps)):
            for attempt in reversed(range(attempts)):
                total[step][attempt] = max(self._options(total, step, attempt).values())
        return self._walk(total)

    def _options(self, total: list[list[_Score]], step: int, attempt: int) -> dict[str, _Score]:
        options = {"skip step": total[step + 1][attempt], "skip attempt": total[step][attempt + 1]}
        score = self.scores[attempt][step]
        if score is not None:
            options = {"match": score.plus(total[step + 1][attempt + 1]), **options}
        return options

    def _walk(self, total: list[list[_Score]]) -> dict[int, int]:
        chosen: dict[int, int] = {}
        step = attempt = 0
        while step < len(self.rules) and attempt < len(self.attempts):
            options = self._options(total, step, attempt)
            move = max(options, key=lambda name: options[name])
            if move == "match":
                chosen[attempt] = step
            step += move != "skip attempt"
            attempt += move != "skip step"
        return chosen

    def found(self, attempt: int, step: int | None) -> FoundHold:
        judged_by = self._nearest_step(attempt) if step is None else step
        verdict = self.verdicts[attempt][judged_by]
        return FoundHold(
            start=self._at(self.attempts[attempt].judged_from),
            end=self._at(self.attempts[attempt].last),
            step=step,
            verdict=verdict,
            judged_by=judged_by,
            why=self._why(attempt, step, verdict, judged_by),
        )

    def _nearest_step(self, attempt: int) -> int:
        steps = range(len(self.rules))
        return max(steps, key=lambda step: (self.likeness(attempt, step), self.verdicts[attempt][step].passes, -step))

    def _why(self, attempt: int, step: int | None, verdict: HoldVerdict, judged_by: int) -> str:
        if attempt in self.taken:
            return f"step {self.taken[attempt] + 1} is judged on it"
        if step is None:
            if judged_by in self.settled:
                meets = "meets" if verdict.passes else "fails"
                return f"{meets} step {judged_by + 1}, the nearest to its pressure, which is judged by something else"
            if verdict.passes:
                return f"meets step {judged_by + 1}, for which another attempt in order is proposed"
            return f"no step is left for it in order; it fails step {judged_by + 1}, the nearest to its pressure"
        if not verdict.passes:
            return f"the nearest attempt to step {step + 1} in its order, but it does not pass"
        over = self.reached[attempt] / self.rules[step].high_target - 1
        return f"passes step {step + 1} in its order, at about {over:.1%} over the target"
