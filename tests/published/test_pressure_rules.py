"""Required pressures and holds against the published rules. How surely a figure is known stands beside it."""

from typing import Any

import pytest

from calcs.surface import calculate
from tests_app import rulebook


def required(kind: str, rwp: str, rule: str, **more: Any) -> dict[str, Any]:
    document = {"component": {"kind": kind, "rwp": rwp}, "rule": rule, **more}
    return calculate("test-pressures", document, editions=rulebook.editions())


OCS = "30 CFR 250.737"


@pytest.mark.parametrize("kind", ["annular", "pipe-ram", "blind-shear-ram", "manifold", "kelly-valve", "inside-bop"])
def test_the_low_test_is_250_to_350_psi_and_restarts_over_500(kind: str):
    # 30 CFR 250.737(b)(1): from memory for the band; the restart at 500 psi was read in the superseded
    # 250.448(a), there with a band of 200 to 300 psi.
    low = required(kind, "10000 psi", OCS)["low"]
    assert [low[name]["value"] for name in ("min", "max", "restart_above")] == [250, 350, 500]


@pytest.mark.parametrize(("rwp", "high"), [("5000 psi", 3500), ("10000 psi", 7000), ("3000 psi", 2100)])
def test_an_annular_is_tested_to_70_percent_of_its_rating(rwp: str, high: float):
    # 30 CFR 250.737(b)(3): from memory; read in the superseded 250.448(c).
    found = required("annular", rwp, OCS)
    assert found["high"]["value"] == pytest.approx(high)
    assert "30 CFR 250.737(b)(3)" in found["clause"]


def test_a_ram_is_tested_to_its_rating_or_to_approved_masp_plus_500():
    # 30 CFR 250.737(b)(2): from memory; the same formula was read in the superseded 250.448(b).
    assert required("pipe-ram", "10000 psi", OCS, masp="6200 psi")["high"]["value"] == pytest.approx(10000)
    approved = required("pipe-ram", "10000 psi", OCS, masp="6200 psi", approval="permit")
    assert approved["high"]["value"] == pytest.approx(6700)


@pytest.mark.parametrize(
    ("stack", "recorder", "minutes"),
    [("surface", "none", 5), ("surface", "digital", 3), ("surface", "chart", 3), ("subsea", "digital", 5)],
)
def test_each_pressure_is_held_five_minutes_or_three_recorded_at_the_surface(stack, recorder, minutes):
    # 30 CFR 250.737(c): from memory; read in the superseded 250.448(d) for surface systems.
    assert required("pipe-ram", "10000 psi", OCS, stack=stack, recorder=recorder)["hold"]["value"] == minutes


@pytest.mark.parametrize(("kind", "interval"), [("pipe-ram", "14 d"), ("annular", "14 d"), ("blind-shear-ram", "30 d")])
def test_the_intervals_are_14_days_and_30_for_blind_shears(kind: str, interval: str):
    # 30 CFR 250.737(a)(2), read.
    edition = rulebook.edition(OCS)
    rule = edition.rule(required(kind, "10000 psi", OCS)["rule"])
    assert str(rule.recurs.interval) == interval
    assert rule.recurs.deadline == "midnight"
    assert rule.recurs.source.confidence == "read"


def test_api_standard_53_is_limited_by_the_wellhead():
    # API Standard 53, 4th ed., 6.5.3.2.6 and inquiry 53-14-14, read: a 10,000 psi system on a 5,000 psi
    # wellhead is tested to 5,000 psi only.
    found = required("pipe-ram", "10000 psi", "API Standard 53", occasion="installed", weakest_part="5000 psi")
    assert found["high"]["value"] == pytest.approx(5000)
    assert found["limited_by_weakest_part"]


def test_api_standard_53_asks_every_21_days_at_masp_or_more():
    # API Standard 53, 4th ed., 6.5.3, from memory.
    found = required("pipe-ram", "10000 psi", "API Standard 53", masp="6200 psi")
    assert found["high"]["value"] == pytest.approx(6200)
    assert str(rulebook.edition("api53-4").rule(found["rule"]).recurs.interval) == "21 d"
    assert found["confidence"] == "memory"


@pytest.mark.parametrize("kind", ["pipe-ram", "annular", "choke-valve"])
@pytest.mark.parametrize("occasion", ["interval", "installed"])
def test_a_subsea_figure_of_api_standard_53_says_that_its_own_clause_was_not_read(kind: str, occasion: str):
    # API Standard 53, 4th ed., section 7 mirrors section 6, from memory: the figures are the surface ones.
    asked = {"masp": "6200 psi", "occasion": occasion}
    surface_one = required(kind, "10000 psi", "API Standard 53", **asked)
    subsea_one = required(kind, "10000 psi", "API Standard 53", stack="subsea", **asked)
    assert "own clause number not read" not in surface_one["clause"]
    for name, source in subsea_one["sources"].items():
        assert "mirrored by section 7 for subsea, own clause number not read" in source["clause"]
        assert source["confidence"] == "memory"
        assert subsea_one[name] == surface_one[name]
