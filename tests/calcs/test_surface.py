"""The calculations as documents: what goes in, what comes out, and that nothing is guessed."""

import contextlib
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import wire
from calcs.errors import InputError
from calcs.rules import KIND_LABELS
from calcs.surface import CALCULATIONS, calculate
from calcs.surfaces.requirements import read_kind
from tests_app import rulebook

EDITIONS = rulebook.editions()
PORE = {"method": "pore-gas", "pore_pressure": "11500 psi", "depth": "16000 ft", "gas_gradient": "0.1 psi/ft"}
FRACTURE = {
    "method": "fracture-gas",
    "fracture_gradient": "14.2 lb/gal",
    "margin": "1 lb/gal",
    "shoe_depth": "4000 ft",
    "gas_gradient": "0.12 psi/ft",
}
ANNULAR = {
    "component": {"kind": "annular", "rwp": "5000 psi"},
    "masp": "3000 psi",
    "weakest_part": "10000 psi",
    "rule": "us-ocs",
}
DUE = {
    "interval": "14 d",
    "deadline": "midnight",
    "history": [
        {"event": "installed", "at": "2026-02-20T08:00:00-06:00"},
        {
            "event": "tested",
            "started": "2026-02-28T22:00:00-06:00",
            "concluded": "2026-03-01T02:10:00-06:00",
            "passed": True,
        },
    ],
    "at": "2026-03-10T00:00:00-05:00",
    "zone": "America/Chicago",
}
SECONDS = list(range(700))
SAMPLES = {"t": SECONDS, "p": [300] * 305 + [5100] * 395, "pressure_unit": "psi"}
HOLD_RULE = {
    "low": {"min": "250 psi", "max": "350 psi", "restart_above": "500 psi"},
    "high": {"target": "5000 psi"},
    "hold": "5 min",
}
BANK = {"bottle_volume": "10 gal", "precharge": "1000 psi", "charged": "3000 psi", "model": "nitrogen-isothermal"}
FACTORS = {"minimum": "1200 psi", "pressure_factor": 1.0, "volume_factor": 1.5}
DOCUMENTS: dict[str, dict[str, Any]] = {
    "hydrostatic": {"mud_weight": "10 lb/gal", "depth": "7000 ft"},
    "masp": PORE,
    "test-pressures": ANNULAR,
    "due": DUE,
    "hold-check": {"samples": SAMPLES, "rule": HOLD_RULE},
    "find-holds": {"samples": SAMPLES, "rules": [HOLD_RULE]},
    "usable-volume": {**BANK, "minimum": "1200 psi"},
    "pressure-after": {**BANK, "withdrawn": "4 gal"},
    "precharge-at-temperature": {"precharge": "1000 psi", "from": "70 degF", "to": "40 degF", "model": "boyle"},
    "closing-sequence": {**BANK, "count": 12, "functions": [{"name": "annular", "volume": "20 gal"}]},
    "closing-pressure": {"wellbore_pressure": "10000 psi", "closing_ratio": 9},
    "volumetric-efficiency": {**BANK, **FACTORS},
    "bottles-required": {**BANK, **FACTORS, "functional_volume": "60 gal"},
    "best-precharge": {**BANK, "minimum": "1200 psi"},
    "precharge-from-drawdown": {
        "total_volume": "180 gal",
        "start": "3000 psi",
        "end": "2200 psi",
        "withdrawn": "20 gal",
    },
    "drawdown-fit": {
        "points": [
            {"withdrawn": f"{volume} gal", "pressure": f"{psi} psi"}
            for volume, psi in ((0, 3000), (20, 1955), (30, 1672), (40, 1462), (50, 1300))
        ],
        "nameplate": {"bottle_volume": "10 gal", "count": 12, "precharge": "1000 psi"},
        "model": "nitrogen-isothermal",
    },
    "drawdown-verdict": {
        "rule": "api53-4",
        "start": "3000 psi",
        "precharge_measured": "1010 psi",
        "precharge_design": "1000 psi",
        "minimum_operating": "1200 psi",
        "rated": "3000 psi",
        "functions": [
            {"name": "Pipe ram, close", "kind": "pipe-ram", "time": "12 s", "pressure": "2100 psi"},
            {"name": "Annular, close", "kind": "annular", "bore": "13.625 in", "time": "25 s", "pressure": "1350 psi"},
        ],
        "recharges": [{"pumps": "all", "from": "1000 psi", "to": "3000 psi", "time": "11 min"}],
        "pumps": [
            {"pump": "1", "duty": "primary", "drive": "electric", "starts_at": "2720 psi", "stops_at": "2950 psi"}
        ],
    },
    "drawdown-steps": {
        "samples": {
            "t": SECONDS[:200],
            "p": [3000] * 60 + [2950, 2900, 2850, 2800] + [2790] * 136,
            "pressure_unit": "psi",
        },
        "functions": 1,
    },
    "line-ups": {
        "elements": [
            {
                "id": "ram",
                "kind": "pipe-ram",
                "between": ["bore", "riser"],
                "holds_from": ["bore"],
                "rating": "10000 psi",
                "closes_on": ["5 in"],
            }
        ],
        "cavity_ratings": {"bore": "5000 psi"},
        "pump_points": ["bore"],
        "vents": ["riser"],
        "proofs": [{"element": "ram", "from": "bore", "high": "5000 psi"}],
    },
}


def answer(name: str, document: Any, **changes: Any) -> dict[str, Any]:
    given = {**document, **changes}
    return calculate(name, {key: value for key, value in given.items() if value is not None}, editions=EDITIONS)


def refused(name: str, document: Any, **changes: Any) -> InputError:
    with pytest.raises(InputError) as caught:
        answer(name, document, **changes)
    return caught.value


def test_every_calculation_has_a_document_here():
    assert DOCUMENTS.keys() == CALCULATIONS.keys()


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
def test_every_answer_survives_json_and_is_the_same_twice(name: str):
    first = answer(name, DOCUMENTS[name])
    assert json.loads(wire.write_answer(first)) == first
    assert answer(name, DOCUMENTS[name]) == first


@pytest.mark.parametrize("name", sorted(CALCULATIONS))
def test_every_calculation_says_what_it_answers(name: str):
    assert CALCULATIONS[name].name == name
    assert CALCULATIONS[name].summary.endswith(".")


@pytest.mark.parametrize("name", sorted(CALCULATIONS))
@pytest.mark.parametrize("document", [None, [], "x", 5, {}, {"units": "metric"}, {"units": 5}])
def test_a_document_that_asks_nothing_is_refused(name: str, document: Any):
    with pytest.raises(InputError):
        calculate(name, document, editions=EDITIONS)


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
def test_a_misspelt_key_is_refused_by_name(name: str):
    assert refused(name, DOCUMENTS[name], dept="1 ft").field == "dept"


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
@given(
    junk=st.recursive(st.none() | st.booleans() | st.floats() | st.text(), st.lists, max_leaves=5), pick=st.integers(0)
)
def test_junk_in_any_place_is_an_input_error_or_an_answer(name: str, junk: Any, pick: int):
    document = dict(DOCUMENTS[name])
    document[sorted(document)[pick % len(document)]] = junk
    with contextlib.suppress(InputError):
        wire.write_answer(calculate(name, document, editions=EDITIONS))


def test_an_unknown_calculation_lists_the_known_ones():
    with pytest.raises(InputError, match="hydrostatic") as caught:
        calculate("hydrostatics", {})
    assert caught.value.field == "name"


def test_the_unit_system_is_the_one_asked_for():
    us = answer("hydrostatic", DOCUMENTS["hydrostatic"])
    si = answer("hydrostatic", DOCUMENTS["hydrostatic"], units="si")
    assert (us["pressure"]["unit"], us["gradient"]["unit"]) == ("psi", "psi/ft")
    assert si["pressure"]["value"] == pytest.approx(us["pressure"]["value"] * 6.894757293168361)
    assert (si["pressure"]["unit"], si["gradient"]["unit"]) == ("kPa", "kPa/m")
    assert "kPa" in si["working"][-1]


def test_the_same_question_in_other_units_has_the_same_answer():
    metric = {"mud_weight": {"value": 1198.2642731689663, "unit": "kg/m3"}, "depth": "2133.6 m"}
    us = answer("hydrostatic", DOCUMENTS["hydrostatic"])["pressure"]["value"]
    assert answer("hydrostatic", metric)["pressure"]["value"] == pytest.approx(us)


@pytest.mark.parametrize("constant", ["0.052", 0.052])
def test_the_rounded_constant_is_an_option(constant: Any):
    assert answer("hydrostatic", DOCUMENTS["hydrostatic"], constant=constant)["pressure"]["value"] == 3640.0


@pytest.mark.parametrize("constant", ["0.05", 1, True, "", []])
def test_no_other_constant_is(constant: Any):
    assert refused("hydrostatic", DOCUMENTS["hydrostatic"], constant=constant).field == "constant"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"method": "guess"}, "method"),
        ({"depth": None}, "depth"),
        ({"depth": "-5 ft"}, "depth"),
        ({"pore_pressure": None}, "pore_pressure"),
        ({"margin": "1 lb/gal"}, "margin"),
        ({"shoe_depth": "4000 ft"}, "shoe_depth"),
        ({"gas_fraction": "0.5"}, "mud_weight"),
        ({"gas_gradient": "0.1"}, "gas_gradient"),
        ({"mudline_depth": "17000 ft"}, "depth"),
        ({"air_gap": "80 ft"}, "air_gap"),
    ],
)
def test_a_masp_question_that_does_not_fit_is_refused_by_field(changes: dict[str, Any], field: str):
    assert refused("masp", PORE, **changes).field == field


def test_a_gradient_may_be_written_as_a_mud_weight():
    by_gradient = answer("masp", FRACTURE, fracture_gradient={"value": 14.2 * 12 / 231, "unit": "psi/ft"})
    assert by_gradient["pressure"]["value"] == pytest.approx(answer("masp", FRACTURE)["pressure"]["value"])


def test_the_lesser_takes_both_and_says_which_governs():
    document = {**PORE, **FRACTURE, "method": "lesser"}
    found = answer("masp", document)
    assert found["governs"] == "fracture-gas"
    assert found["pressure"] == found["considered"]["fracture-gas"]
    assert found["considered"]["pore-gas"]["value"] > found["pressure"]["value"]


@pytest.mark.parametrize("changes", [{"method": "lesser", "depth": "12000 ft"}, {}])
def test_a_mud_heavier_than_the_fracture_gradient_is_refused(changes: dict):
    with pytest.raises(InputError, match="dangerously low") as refused:
        answer("masp", FRACTURE, mud_weight="15 lb/gal", **changes)
    assert refused.value.field == "fracture_gradient"


def test_one_margin_is_added_in_both_methods_unless_they_are_set_apart():
    both = {"method": "lesser", "mud_weight": "12 lb/gal", "depth": "12000 ft", "gas_gradient": "0.12 psi/ft"}
    both |= {"fracture_gradient": "14.2 lb/gal", "shoe_depth": "4000 ft"}
    shared = answer("masp", both, margin="1 lb/gal")["considered"]
    apart = answer("masp", both, pore_margin="1 lb/gal", fracture_margin="1 lb/gal")["considered"]
    assert shared == apart


def test_a_test_pressure_answer_carries_the_rule_to_judge_by():
    found = answer("test-pressures", ANNULAR)
    assert found["high"] == {"value": 3500.0, "unit": "psi"}
    assert found["low"]["min"] == {"value": 250.0, "unit": "psi"}
    assert found["hold"] == {"value": 5.0, "unit": "min"}
    assert "250.737(b)(3)" in found["clause"]
    assert found["hold_rule"] == {"low": found["low"], "high": {"target": found["high"]}, "hold": found["hold"]}


@pytest.mark.parametrize("kind", ["Annular", "annulars", "annular preventer"])
def test_a_kind_may_be_written_as_it_is_said(kind: str):
    component = {"kind": kind, "rwp": "5000 psi"}
    assert answer("test-pressures", ANNULAR, component=component)["high"]["value"] == 3500


def test_a_digital_recorder_shortens_the_hold_at_the_surface():
    assert answer("test-pressures", ANNULAR, recorder="digital")["hold"]["value"] == 3
    assert answer("test-pressures", ANNULAR, recorder="digital", stack="subsea")["hold"]["value"] == 5


def test_every_kind_may_be_written_as_the_product_shows_it():
    for kind, label in KIND_LABELS.items():
        assert {read_kind(word, "kind") for word in (kind, label, label.capitalize())} == {kind}


@pytest.mark.parametrize(
    ("written", "kind"),
    [
        ("gate valve (hydraulic)", "gate-valve-hydraulic"),
        ("Gate valves (manual)", "gate-valve-manual"),
        ("kelly/top-drive valve", "kelly-valve"),
        ("standpipe", "standpipe-valve"),
        ("Blind/shear ram", "blind-shear-ram"),
        ("choke manifold", "manifold"),
    ],
)
def test_a_kind_may_be_written_as_the_trade_says_it(written: str, kind: str):
    assert read_kind(written, "kind") == kind


def test_a_rule_may_be_named_alone_or_stated_in_full():
    named = answer("test-pressures", ANNULAR, rule="ocs-pt-14d-annular")
    inline = {
        "low": {"min": "200 psi", "max": "300 psi"},
        "high": {"fraction": 0.5, "of": "component"},
        "hold": "10 min",
        "clause": "house rule 3",
    }
    stated = answer("test-pressures", ANNULAR, rule=inline)
    assert named["high"]["value"] == 3500
    assert (stated["high"]["value"], stated["hold"]["value"]) == (2500, 10)
    assert stated["low"]["restart_above"]["value"] == 300
    assert (stated["clause"], stated["confidence"]) == ("house rule 3", "given")
    assert not any("memory" in note for note in stated["notes"])


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"rule": "us-moon"}, "rule"),
        ({"rule": 5}, "rule"),
        ({"rule": None}, "rule"),
        ({"rule": "ocs-pt-bsr-30d"}, "component.kind"),
        ({"rule": {"high": {"expr": "1"}, "hold": "5 min"}}, "rule.high"),
        ({"rule": {"high": {"fraction": 1}, "hold": "-5 min"}}, "rule.hold.time"),
        ({"rule": {"high": {"fraction": 1}}}, "rule.hold"),
        ({"rule": {"high": 5000, "hold": "5 min"}}, "rule.high"),
        ({"rule": {"high": {"fraction": 1}, "hold": "5 min", "holds": 1}}, "rule.holds"),
        ({"component": {"kind": "annular"}}, "component.rwp"),
        ({"component": {"kind": "annular", "rwp": "0 psi"}}, "component.rwp"),
        ({"component": {"kind": "anular", "rwp": "5000 psi"}}, "component.kind"),
        ({"component": {"kind": "riser", "rwp": "5000 psi"}}, "component.kind"),
        ({"component": {"kind": "annular", "rwp": "5000 psi", "serial": "1"}}, "component.serial"),
        ({"masp": "3000"}, "masp"),
        ({"masp": "-1 psi"}, "masp"),
        ({"weakest_part": "300 psi"}, "weakest_part"),
        ({"approval": " "}, "approval.reference"),
        ({"approval": {"pressure": "3000 psi"}}, "approval.reference"),
        ({"stack": "sea"}, "stack"),
    ],
)
def test_a_pressure_question_that_does_not_fit_is_refused_by_field(changes: dict[str, Any], field: str):
    assert refused("test-pressures", ANNULAR, **changes).field == field


def test_parts_exposed_may_be_listed_and_the_weakest_limits():
    parts = [{"name": "wellhead", "limit": "3000 psi"}, {"name": "spool", "limit": "10000 psi"}]
    found = answer("test-pressures", ANNULAR, weakest_part=parts)
    assert found["high"]["value"] == 3000
    assert found["limited_by_weakest_part"] is True


def test_a_casing_shear_is_answered_with_its_exemption():
    found = answer("test-pressures", ANNULAR, component={"kind": "casing-shear-ram", "rwp": "15000 psi"})
    assert (found["required"], found["high"]) == (False, None)
    assert "holds no pressure" in found["notes"][0]


@pytest.mark.parametrize(("leak", "passes"), [(0, True), (200, False)])
def test_the_rule_found_is_the_rule_a_recording_is_judged_by(leak: int, passes: bool):
    rule = answer("test-pressures", ANNULAR)["hold_rule"]
    pressures = [300] * 305 + [3600 - leak * index / 395 for index in range(395)]
    document = {"samples": {**SAMPLES, "p": pressures}, "rule": rule}
    assert answer("hold-check", document)["passes"] is passes


def test_due_is_given_with_the_rigs_offset():
    found = answer("due", DUE)
    assert found["due_at"] == "2026-03-16T00:00:00-05:00"
    assert found["counts_from"] == "2026-03-01T02:10:00-06:00"
    assert (found["state"], found["counts_from_event"]) == ("in-date", "tested")


def test_a_time_without_offset_is_rig_time():
    local = {"event": "tested", "started": "2026-02-28T22:00", "concluded": "2026-03-01T02:10", "passed": True}
    assert answer("due", DUE, history=[local])["due_at"] == answer("due", DUE)["due_at"]


@pytest.mark.parametrize("moment", ["2026-03-08T02:30", "2026-11-01T01:30"])
def test_a_clock_time_that_comes_twice_or_never_needs_its_offset(moment: str):
    error = refused("due", DUE, at=moment)
    assert error.field == "at"
    assert "offset" in error.remedy


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"zone": "Mars/Base"}, "zone"),
        ({"zone": "../../etc/passwd"}, "zone"),
        ({"zone": ""}, "zone"),
        ({"zone": 5}, "zone"),
        ({"interval": "14"}, "interval"),
        ({"interval": 14}, "interval"),
        ({"interval": "336 h"}, "deadline"),
        ({"deadline": "noon"}, "deadline"),
        ({"at": "yesterday"}, "at"),
        ({"at": "0001-01-01T00:00Z"}, "at"),
        ({"at": None}, "at"),
        ({"history": {}}, "history"),
        ({"history": [{"event": "blessed", "at": "2026-01-01T00:00Z"}]}, "history.0.event"),
        ({"history": [{"event": "installed"}]}, "history.0.at"),
        ({"history": [{"event": "installed", "at": "2026-01-01T00:00Z", "by": "x"}]}, "history.0.by"),
        ({"history": [{"event": "deferred", "at": "2026-01-01T00:00Z"}]}, "history.0.until"),
        (
            {"history": [{"event": "tested", "started": "2026-01-02T00:00Z", "concluded": "2026-01-01T00:00Z"}]},
            "history.0.concluded",
        ),
    ],
)
def test_a_due_question_that_does_not_fit_is_refused_by_field(changes: dict[str, Any], field: str):
    assert refused("due", DUE, **changes).field == field


@pytest.mark.parametrize(
    "text",
    [
        "",
        "   ",
        "{",
        "[]",
        "5",
        '{"a": NaN}',
        '{"a": -Infinity}',
        '{"a": 1e999}',
        '{"a": 1, "a": 2}',
        '{"a": ' + "9" * 5000 + "}",
        "[" * 100_000,
        b"\xff\xfe\x00",
        b"%PDF-1.7",
    ],
)
def test_text_that_is_no_strict_json_object_is_refused(text: str | bytes):
    with pytest.raises(InputError) as caught:
        wire.read_document(text)
    assert caught.value.remedy


@pytest.mark.parametrize(("at", "state"), [("22:59", "in-date"), ("23:00", "due-soon")])
def test_72_hours_are_hours_though_the_clocks_change_within_them(at: str, state: str):
    tested = {"event": "tested", "started": "2026-02-22T10:00", "concluded": "2026-02-22T14:00", "passed": True}
    question = {"interval": "14 d", "deadline": "midnight", "history": [tested], "zone": "America/Chicago"}
    for moment in (f"2026-03-05T{at}:00", f"2026-03-05T{at}:00-06:00"):
        found = answer("due", question, at=moment)
        assert (found["due_at"], found["state"]) == ("2026-03-09T00:00:00-05:00", state)


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ('{"samples": {"t": [0, 1, 2], "p": [300, NaN, 301]}}', "samples.p.1"),
        ('{"depth": {"value": 1e999, "unit": "ft"}, "mud_weight": Infinity}', "depth.value"),
        ('{"a": ' + "[" * 500 + "NaN" + "]" * 500 + "}", "a" + ".0" * 500),
    ],
)
def test_a_number_that_is_not_finite_is_named_by_its_path(text: str, field: str):
    with pytest.raises(InputError, match="not a finite number") as caught:
        wire.read_document(text)
    assert caught.value.field == field


@given(st.binary(max_size=60))
def test_no_bytes_break_the_reader(body: bytes):
    with contextlib.suppress(InputError):
        assert isinstance(wire.read_document(body), dict)
