"""What a signed record holds is what its certificate is drawn from, key for key."""

import json
import types
import typing
from typing import Any, get_args, get_origin, get_type_hints, is_typeddict

import pytest

from tests.builders_tests_app import (
    SIGNED,
    World,
    a_draft,
    a_recording,
    a_step,
    a_world,
    concluded,
    good,
    leaking,
    signed,
    typed,
)
from tests_app.actions import recordings, steps
from tests_app.documents import certificate
from tests_app.documents.content import Content
from tests_app.models import Record

pytestmark = pytest.mark.django_db


def a_full_record(world: World) -> Record:
    """A signed record with a failed step, its retest, typed readings, a chart and a file set aside."""
    record = a_draft(world, remarks="Wind 20 kn.")
    valve = "Inner choke valve" if world.stack.kind == "surface" else "Lower inner kill valve"
    ram = a_step(record, world, "Upper pipe ram", valve)
    wrong = a_recording(record, world, good(9_000), step=ram, file_name="wrong.csv")
    recordings.withdraw_recording(wrong, reason="Another well's", by=world.supervisor, at=SIGNED)
    a_recording(record, world, leaking(), step=ram, file_name="first.csv")
    retest = steps.retest_step(ram, by=world.supervisor, at=SIGNED)
    a_recording(record, world, good(), step=retest, file_name="second.csv")
    typed(a_step(record, world, "Lower pipe ram"), world)
    chart = {"file_name": "chart.png", "content": b"\x89PNG\r\n\x1a\n scan", "content_type": "image/png"}
    recordings.attach_chart(record, step=None, **chart, by=world.supervisor, at=SIGNED)
    signed(concluded(record, world), world)
    record.refresh_from_db()
    return record


def misfits(value: Any, hint: Any, path: str = "content") -> list[str]:
    """Return where a plain JSON value does not have the shape of a type."""
    if is_typeddict(hint):
        return _misfits_of_object(value, hint, path)
    if get_origin(hint) in (types.UnionType, typing.Union):
        fits = any(misfits(value, option, path) == [] for option in get_args(hint))
        return [] if fits else [f"{path}: {value!r} is none of {hint}"]
    if get_origin(hint) is typing.Literal:
        return [] if value in get_args(hint) else [f"{path}: {value!r} is none of {hint}"]
    if get_origin(hint) in (list, tuple):
        if not isinstance(value, list):
            return [f"{path}: {value!r} is no list"]
        wanted = get_args(hint)[0]
        return [fault for index, one in enumerate(value) for fault in misfits(one, wanted, f"{path}[{index}]")]
    if get_origin(hint) is dict:
        return []
    plain = (int, float) if hint is float else hint
    return [] if isinstance(value, plain) else [f"{path}: {value!r} is no {hint}"]


def _misfits_of_object(value: Any, hint: Any, path: str) -> list[str]:
    if not isinstance(value, dict):
        return [f"{path}: {value!r} is no {hint}"]
    hints = get_type_hints(hint)
    faults = [f"{path}: {sorted(set(hints) ^ set(value))}"] if set(hints) != set(value) else []
    return faults + [
        fault for key, wanted in hints.items() if key in value for fault in misfits(value[key], wanted, f"{path}.{key}")
    ]


@pytest.mark.parametrize("kind", ["surface", "subsea"])
def test_the_content_has_the_shape_it_is_said_to_have(kind: str):
    world = a_world(kind)
    content = json.loads(a_full_record(world).content)
    assert misfits(content, Content) == []


def test_the_content_tells_the_whole_story():
    content = json.loads(a_full_record(a_world()).content)
    assert content["passed"]
    assert [step["outcome"]["key"] for step in content["steps"]] == ["failed", "passed", "passed"]
    assert [step["evidence"]["key"] for step in content["steps"]] == ["recording", "recording", "typed"]
    assert content["steps"][2]["limits"]["hold_s"] == 300
    files = {file["file_name"]: file for file in content["files"]}
    assert files["wrong.csv"]["withdrawn"]
    assert files["wrong.csv"]["steps"] == [1]
    assert files["wrong.csv"]["withdrawn_reason"] == "Another well's"
    assert "set aside" not in files["wrong.csv"]["facts"]
    assert files["first.csv"]["steps"] == [1]
    assert "samples, 1 s apart, psi" in files["second.csv"]["facts"]
    assert {rule["clause"] for rule in content["rules"]} >= {"30 CFR 250.737(a)(2)", "30 CFR 250.737(b)(1)"}
    assert content["steps"][0]["lines"][0]["confidence"] == "memory"


def test_the_certificate_is_drawn_from_a_real_seal():
    record = a_full_record(a_world())
    content = json.loads(record.content)
    pdf = certificate.render(content, sha256=record.sha256, verify_address="https://wellhold.test/verify/x")
    assert pdf.startswith(b"%PDF-")


def test_an_si_rig_reads_its_own_units():
    content = json.loads(a_full_record(a_world(rig={"display_units": "si"})).content)
    assert content["steps"][0]["low"]["min_pressure"]["unit"] == "kPa"
    assert content["steps"][0]["curve"]["unit"] == "kPa"
    assert content["steps"][0]["limits"]["high_target"] == {"value": 10000, "unit": "psi"}
