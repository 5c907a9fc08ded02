"""The calculations `hold-check` and `find-holds` as callers of the command and the API meet them."""

from datetime import UTC, datetime
from typing import Any

import pytest

from calcs.errors import InputError
from calcs.surface import calculate
from tests.recordings_made import Curve, step

RULE: dict[str, Any] = {
    "low": {"min": "250 psi", "max": "350 psi", "restart_above": "500 psi"},
    "high": {"target": "5000 psi"},
    "hold": "5 min",
}


def asked(**changes: Any) -> dict[str, Any]:
    return {"recording_csv": step().csv(), "rule": RULE, **changes}


def samples(curve: Curve) -> dict[str, Any]:
    return {"t": curve.t.tolist(), "p": curve.p.tolist(), "pressure_unit": "psi"}


def refusal(name: str, document: dict[str, Any]) -> InputError:
    with pytest.raises(InputError) as refused:
        calculate(name, document)
    return refused.value


def test_a_good_recording_passes_with_its_figures_in_psi_and_seconds() -> None:
    answer = calculate("hold-check", asked())
    assert answer["passes"] is True
    assert answer["low"]["passes"] is answer["high"]["passes"] is True
    assert answer["low"]["reasons"] == answer["high"]["reasons"] == []
    assert answer["high"]["min_pressure"]["unit"] == "psi"
    assert answer["high"]["start"]["unit"] == "s"
    assert answer["high"]["duration"] == {"value": 300.0, "unit": "s"}
    assert answer["high"]["decay"] == {"value": 0.0, "unit": "psi"}
    assert answer["high"]["decay_rate"] == {"value": 0.0, "unit": "psi/min"}
    assert answer["low"]["peak_before_low"]["value"] < 300
    assert answer["recording"]["samples"] == len(step().t)


def test_the_unit_system_asked_for_is_answered_in_figures_and_in_words() -> None:
    answer = calculate("hold-check", asked(recording_csv=step(high=4_812).csv(), units="si"))
    assert answer["low"]["max_pressure"]["unit"] == "kPa"
    assert answer["high"]["reasons"] == [
        "never reached 34,474 kPa after the low hold; the highest then was 33,178 kPa 0:07:30 into the recording"
    ]


def test_samples_are_judged_like_a_file() -> None:
    from_file = calculate("hold-check", asked())
    document = {"samples": samples(step()), "rule": RULE}
    from_samples = calculate("hold-check", document)
    assert from_samples["high"] == from_file["high"]
    assert from_samples["passes"] is True


def test_a_file_with_a_clock_gives_moments_too() -> None:
    content = step().clock_csv(datetime(2026, 3, 31, 22, 0, tzinfo=UTC))
    answer = calculate("hold-check", asked(recording_csv=content))
    assert answer["recording"]["started_at"] == "2026-03-31T22:00:00+00:00"
    assert answer["high"]["start_at"].startswith("2026-03-31T22:07:")


def test_zone_channel_and_unit_may_be_given() -> None:
    content = step().clock_csv(datetime(2026, 3, 31, 22, 0, tzinfo=UTC), ending="", head="Clock,Pump pressure")
    answer = calculate(
        "hold-check",
        asked(recording_csv=content, zone="Europe/Oslo", channel="pump pressure", pressure_unit="psi"),
    )
    assert answer["passes"] is True
    assert answer["recording"]["started_at"] == "2026-03-31T22:00:00+02:00"


def test_only_a_part_may_be_judged() -> None:
    two = step(high=4_000).then(step())
    assert calculate("hold-check", asked(recording_csv=two.csv(), start="14 min"))["passes"] is True
    assert calculate("hold-check", asked(recording_csv=two.csv(), end="14 min"))["passes"] is False


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"recording_csv": ""}, "recording_csv"),
        ({"recording_csv": 7}, "recording_csv"),
        ({"recording_csv": None}, "recording_csv"),
        ({"samples": {"t": [0, 1], "p": [1, 2], "pressure_unit": "psi"}}, "recording_csv"),
        ({"recording_csv": "t,p psi\n0,1\n1,NaN\n"}, "recording_csv"),
        ({"channel": "Kill"}, "channel"),
        ({"pressure_unit": "bar"}, "pressure_unit"),
        ({"zone": "Mars/Olympus"}, "zone"),
        ({"rule": {**RULE, "hold": "-5 min"}}, "rule.hold"),
        ({"rule": {**RULE, "hold": "5 psi"}}, "rule.hold"),
        ({"rule": {**RULE, "hold": 5}}, "rule.hold"),
        ({"rule": {**RULE, "max_decay": "-1 psi"}}, "rule.max_decay"),
        ({"rule": {**RULE, "high": {}}}, "rule.high.target"),
        ({"rule": {**RULE, "high": {"target": "5000 furlong"}}}, "rule.high.target"),
        ({"rule": {**RULE, "low": {**RULE["low"], "max": "200 psi"}}}, "rule.low.max"),
        ({"rule": {**RULE, "holds": "5 min"}}, "rule.holds"),
        ({"rule": 5}, "rule"),
        ({"start": "1 h", "end": "2 h"}, "start"),
        ({"recording": "x"}, "recording"),
    ],
)
def test_a_refusal_names_the_path_of_what_is_wrong(changes: dict[str, Any], field: str) -> None:
    document = {key: value for key, value in asked(**changes).items() if value is not None}
    assert refusal("hold-check", document).field == field


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"t": [0]}, "samples.p"),
        ({"t": "0 1"}, "samples.t"),
        ({"p": [1, "2"]}, "samples.p"),
        ({"p": [1, None]}, "samples.p"),
        ({"p": [True, 2]}, "samples.p"),
        ({"t": [1, 0]}, "samples.t"),
        ({"pressure_unit": "ells"}, "samples.pressure_unit"),
        ({"pressure_unit": "bara"}, "samples.pressure_unit"),
    ],
)
def test_samples_that_cannot_be_used_name_their_path(change: dict[str, Any], field: str) -> None:
    given = {"t": [0, 1], "p": [1, 2], "pressure_unit": "psi", **change}
    assert refusal("hold-check", {"samples": given, "rule": RULE}).field == field


def test_find_holds_answers_the_attempts_in_order_with_their_steps() -> None:
    whole = step(high=3_560).then(step(high=4_000)).then(step(high=5_060))
    annular = {**RULE, "high": {"target": "3500 psi"}}
    answer = calculate("find-holds", {"recording_csv": whole.csv(), "rules": [annular, RULE, RULE]})
    assert [hold["step"] for hold in answer["holds"]] == [0, 1, 2]
    assert [hold["passes"] for hold in answer["holds"]] == [True, False, True]
    assert answer["not_passing_steps"] == [1]
    assert answer["unmatched_steps"] == []
    assert answer["holds"][1]["high"]["reasons"]
    assert answer["holds"][0]["why"].startswith("passes step 1")


def test_find_holds_names_the_step_whose_rule_is_wrong() -> None:
    wrong = {**RULE, "hold": "0 min"}
    assert refusal("find-holds", {"recording_csv": step().csv(), "rules": [RULE, wrong]}).field == "rules.1.hold"
    assert refusal("find-holds", {"recording_csv": step().csv(), "rules": []}).field == "rules"
