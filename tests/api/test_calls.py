"""How calls are answered: pages, filters, ETags, repeats, refusals, limits; and what a list costs."""

import re
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.throttling import SimpleRateThrottle

from equipment.models import KeptAnswer, Well
from tests import builders
from tests.builders_api import Caller, Things, a_caller
from tests.builders_tests_app import World, a_draft


def refused(answer: Any, status: int) -> dict[str, Any]:
    """The problem document a call was answered with."""
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    body: dict[str, Any] = answer.json()
    assert body["status"] == status
    assert {"type", "title", "detail", "errors"} <= body.keys()
    return body


def fields(problem: dict[str, Any]) -> set[str]:
    return {one["field"] for one in problem["errors"]}


def test_a_list_comes_by_pages_each_row_once_whatever_is_added_meanwhile(world: World, supervisor: Caller):
    for number in range(7):
        builders.a_well(world.rig, f"W-{number}")
    there = set(world.rig.wells.values_list("pk", flat=True))
    found, address = [], f"rigs/{world.rig.pk}/wells/?limit=3"
    while address:
        page = supervisor.get(address).json()
        found += [row["id"] for row in page["results"]]
        builders.a_well(world.rig)
        address = (page["next"] or "").partition("/api/v1/")[2]
        if len(found) >= len(there):
            break
    assert found[: len(there)] == sorted(there)


def test_a_list_worked_out_in_memory_comes_by_pages_too(world: World, supervisor: Caller):
    whole = supervisor.get(f"rigs/{world.rig.pk}/due/?limit=200").json()["results"]
    first = supervisor.get(f"rigs/{world.rig.pk}/due/?limit=4").json()
    second = supervisor.get(first["next"].partition("/api/v1/")[2]).json()
    assert [row["key"] for row in first["results"] + second["results"]] == [row["key"] for row in whole[:8]]
    back = supervisor.get(second["previous"].partition("/api/v1/")[2]).json()
    assert back["results"] == first["results"]


@pytest.mark.parametrize(
    "query", ["limit=0", "limit=201", "limit=x", "limit=²", "cursor=nonsense", "colour=red", "kind=teapot"]
)
def test_a_query_that_is_not_known_is_400_and_named(world: World, supervisor: Caller, query: str):
    problem = refused(supervisor.get(f"rigs/{world.rig.pk}/components/?{query}"), 400)
    assert fields(problem) == {query.partition("=")[0]}
    assert problem["errors"][0]["remedy"]


def test_filters_narrow_as_on_the_pages(world: World, supervisor: Caller):
    rows = supervisor.get(f"rigs/{world.rig.pk}/components/?kind=annular").json()["results"]
    assert {row["kind"] for row in rows} == {"annular"}
    builders.a_component(world.rig, "annular", serial="SPARE-7")
    spare = supervisor.get(f"rigs/{world.rig.pk}/components/?where=spare&search=SPARE").json()["results"]
    assert [row["serial"] for row in spare] == ["SPARE-7"]


def test_a_quantity_is_shown_as_it_was_entered(world: World, supervisor: Caller):
    sent = {"kind": "annular", "serial": "A-9", "rated_working_pressure": {"value": "10000.50", "unit": "psi"}}
    shown = supervisor.post(f"rigs/{world.rig.pk}/components/", sent).json()
    assert shown["rated_working_pressure"]["value"] == "10000.50"
    assert shown["rated_working_pressure"]["unit"] == "psi"
    # 1 psi = 6 894.757 Pa (NIST SP 811, table B.8)
    assert shown["rated_working_pressure"]["si"] == pytest.approx(10000.5 * 6894.757, rel=1e-6)


def test_a_write_rests_on_what_was_read(world: World, supervisor: Caller):
    address = f"wells/{world.section.well.pk}/"
    etag = supervisor.get(address)["ETag"]
    refused(supervisor.patch(address, {"name": "Renamed"}), 428)
    changed = supervisor.patch(address, {"name": "Renamed"}, If_Match=etag)
    assert (changed.status_code, changed.json()["name"]) == (200, "Renamed")
    refused(supervisor.patch(address, {"name": "Again"}, If_Match=etag), 412)
    assert supervisor.patch(address, {"name": "Again"}, If_Match=changed["ETag"]).status_code == 200
    assert supervisor.patch(address, {"name": "Whatever"}, If_Match="*").status_code == 200


def test_what_the_caller_has_already_is_not_sent_again(world: World, supervisor: Caller):
    address = f"stacks/{world.stack.pk}/"
    answer = supervisor.get(address, If_None_Match=supervisor.get(address)["ETag"])
    assert (answer.status_code, answer.content) == (304, b"")


def test_the_etag_of_a_test_counts_a_change_to_any_part_of_it(all_things: Things, supervisor: Caller):
    record, line = all_things.keys["records"], all_things.keys["lines"]
    seen = supervisor.get(f"records/{record}/")["ETag"]
    assert supervisor.get(f"lines/{line}/")["ETag"] == seen
    leak = {"leak_seen": True, "leak_description": "At the bonnet."}
    refused(supervisor.patch(f"lines/{line}/", leak), 428)
    assert supervisor.patch(f"lines/{line}/", leak, If_Match=seen).json()["outcome"] == "failed"
    assert supervisor.get(f"records/{record}/")["ETag"] != seen
    refused(supervisor.patch(f"lines/{line}/", leak, If_Match=seen), 412)


def test_a_heading_keeps_what_is_not_sent(all_things: Things, supervisor: Caller):
    address = f"records/{all_things.keys['records']}/"
    before = supervisor.get(address)
    sent = {"plan_reference": "TP-12"}
    after = supervisor.patch(f"{address}pressure-test/", sent, If_Match=before["ETag"]).json()
    assert after["pressure_test"] == {**before.json()["pressure_test"], **sent}
    assert after["instruments"] == before.json()["instruments"]


def test_a_signed_test_is_never_written(all_things: Things, supervisor: Caller):
    sealed = all_things.keys["sealed"]
    step = supervisor.get(f"records/{sealed}/steps/").json()["results"][0]
    etag = supervisor.get(f"steps/{step['id']}/")["ETag"]
    refused(supervisor.patch(f"steps/{step['id']}/", {"name": "Other"}, If_Match=etag), 409)
    refused(supervisor.send("DELETE", f"steps/{step['id']}/"), 409)


def test_a_call_sent_again_under_its_key_acts_once(world: World, supervisor: Caller):
    address, sent = f"rigs/{world.rig.pk}/wells/", {"name": "Once"}
    first = supervisor.post(address, sent, Idempotency_Key="k-1")
    again = supervisor.post(address, sent, Idempotency_Key="k-1")
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert (again["ETag"], again["Idempotency-Replayed"]) == (first["ETag"], "true")
    assert Well.objects.filter(name="Once").count() == 1


def test_a_key_with_another_call_is_422(world: World, supervisor: Caller):
    address = f"rigs/{world.rig.pk}/wells/"
    supervisor.post(address, {"name": "Once"}, Idempotency_Key="k-1")
    problem = refused(supervisor.post(address, {"name": "Other"}, Idempotency_Key="k-1"), 422)
    assert fields(problem) == {"Idempotency-Key"}
    stacks = f"rigs/{world.rig.pk}/stacks/"
    refused(supervisor.post(stacks, {"name": "Once", "kind": "surface"}, Idempotency_Key="k-1"), 422)


def test_a_refused_call_leaves_its_key_free_to_be_put_right(world: World, supervisor: Caller):
    address = f"rigs/{world.rig.pk}/wells/"
    refused(supervisor.post(address, {"name": ""}, Idempotency_Key="k-1"), 422)
    assert not KeptAnswer.objects.exists()
    assert supervisor.post(address, {"name": "Right"}, Idempotency_Key="k-1").status_code == 201


def test_a_key_is_one_persons_own(world: World, supervisor: Caller):
    other = builders.a_person(rig=world.rig)
    caller = a_caller(other)
    address = f"rigs/{world.rig.pk}/wells/"
    assert supervisor.post(address, {"name": "One"}, Idempotency_Key="k-1").status_code == 201
    assert caller.post(address, {"name": "Two"}, Idempotency_Key="k-1").status_code == 201


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "name"),
        ({"name": "x" * 81}, "name"),
        ({"name": "A", "water_depth": "300 parsecs"}, "water_depth"),
        ({"name": "A", "water_depth": 300}, "water_depth"),
        ({"name": "A", "spudded_on": "yesterday"}, "spudded_on"),
        ({"name": "A", "sea": "calm"}, "sea"),
        ({"name": "A\u0000"}, "name"),
    ],
)
def test_a_refusal_names_field_reason_and_remedy(world: World, supervisor: Caller, body: Any, field: str):
    problem = refused(supervisor.post(f"rigs/{world.rig.pk}/wells/", body), 422)
    assert field in fields(problem)
    assert all(one["reason"] and one["remedy"] for one in problem["errors"])


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b"\xff", b"null"])
def test_a_body_that_is_no_document_is_400(world: World, supervisor: Caller, body: bytes):
    headers = {"Authorization": f"Bearer {supervisor.word}"}
    address = f"/api/v1/rigs/{world.rig.pk}/wells/"
    answer = supervisor.client.post(address, body, content_type="application/json", headers=headers)
    refused(answer, 422 if body == b"" else 400)


def test_an_address_where_nothing_is_is_a_problem_too(supervisor: Caller):
    refused(supervisor.get("teapots/"), 404)
    refused(supervisor.post("teapots/1/"), 404)


def test_a_body_over_the_limit_is_413_unread(world: World, supervisor: Caller, settings: Any):
    settings.WELLHOLD_MAX_RECORDING_BYTES = 1_000_000
    headers = {"Authorization": f"Bearer {supervisor.word}"}
    address = f"/api/v1/rigs/{world.rig.pk}/wells/"
    answer = supervisor.client.post(address, b" " * 1_300_000, content_type="application/json", headers=headers)
    refused(answer, 413)


def test_calling_too_often_is_429_with_when_to_come_back(supervisor: Caller, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setitem(SimpleRateThrottle.THROTTLE_RATES, "api", "2/min")
    answers = [supervisor.get("rigs/") for _ in range(3)]
    assert [answer.status_code for answer in answers] == [200, 200, 429]
    refused(answers[-1], 429)
    assert int(answers[-1]["Retry-After"]) > 0


def test_a_password_is_tried_ten_times_a_minute(all_things: Things, supervisor: Caller):
    address = f"records/{all_things.keys['records']}/"
    etag = supervisor.get(address)["ETag"]
    sent = {"role": "supervisor", "password": "guess"}
    found = [supervisor.post(f"{address}signatures/", sent, If_Match=etag).status_code for _ in range(11)]
    assert found == [422] * 10 + [429]


LISTS = {
    "components/": lambda world: builders.a_component(world.rig, "annular"),
    "wells/": lambda world: builders.a_well(world.rig),
    "sections/": lambda world: builders.a_section(world.section.well, name=f"S {world.rig.pk}.{count(world)}"),
    "instruments/": lambda world: builders.an_instrument(world.rig),
    "records/": lambda world: a_draft(world),
}


def count(world: World) -> int:
    return int(world.section.well.sections.count())


@pytest.mark.parametrize("address", LISTS)
def test_a_list_asks_the_database_as_often_for_many_rows_as_for_few(world: World, supervisor: Caller, address: str):
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            answer = supervisor.get(f"rigs/{world.rig.pk}/{address}?limit=200")
        assert answer.status_code == 200
        return len([one for one in asked if not re.match(r"(SAVEPOINT|RELEASE)", one["sql"])])

    LISTS[address](world)
    queries()  # the token's first use is noted
    few = queries()
    for _ in range(12):
        LISTS[address](world)
    assert queries() == few
