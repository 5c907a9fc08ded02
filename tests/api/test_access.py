"""Whose calls are answered: another rig's things do not exist, a token reaches no further than its person."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from equipment.actions.tokens import revoke_token
from equipment.api.urls import urlpatterns as of_equipment
from equipment.models import AccessToken
from tests import builders
from tests.builders_api import Caller, Things, a_caller
from tests.builders_tests_app import World
from tests_app.api.urls import urlpatterns as of_tests

OPEN_TO_ALL = {"calls", "schema", "calculations", "calculation"}
OWN = {"rigs"}
"""Lists what the caller may see, whoever that is."""
OF_ANOTHER_RECORD = {
    "content": "sealed",
    "certificate": "sealed",
    "certificate-file": "sealed",
    "functions": "drawdown",
    "recharges": "drawdown",
    "pumps": "pump test",
    "function-lines": "function test",
}
WRITES = {"post": 403, "patch": 403, "delete": 403}


def calls(keys: dict[str, int]) -> Iterator[tuple[str, str, str]]:
    """Yield every call as its method, its name and its address."""
    for pattern in (*of_equipment, *of_tests):
        if pattern.name in OPEN_TO_ALL | OWN:
            continue
        first, _, rest = str(pattern.pattern).partition("/")
        key = keys[OF_ANOTHER_RECORD.get(pattern.name, first)] if first == "records" else keys[first]
        after = rest.partition("/")[2]
        for method in ("get", "post", "patch", "delete"):
            if hasattr(pattern.callback.view_class, method):
                yield method, pattern.name, f"{first}/{key}/{after}"


def answers(caller: Caller, keys: dict[str, int], *methods: str) -> dict[tuple[str, str], int]:
    """Return the status of every call by one of the methods."""
    wanted = methods or ("get", "post", "patch", "delete")
    return {
        (method, name): caller.send(method, address, None if method in ("get", "delete") else {}).status_code
        for method, name, address in calls(keys)
        if method in wanted
    }


def unlike(found: dict[tuple[str, str], int], *statuses: int) -> dict[tuple[str, str], int]:
    return {call: status for call, status in found.items() if status not in statuses}


def test_the_crew_reads_everything(all_things: Things, supervisor: Caller):
    assert unlike(answers(supervisor, all_things.keys, "get"), 200) == {}


def test_nothing_of_another_rig_exists(all_things: Things):
    stranger = a_caller(builders.a_person(rig=builders.a_rig()))
    assert unlike(answers(stranger, all_things.keys), 404) == {}
    assert unlike(answers(stranger, dict.fromkeys(all_things.keys, 999_999)), 404) == {}
    assert [rig["id"] for rig in stranger.get("rigs/").json()["results"]] != [all_things.world.rig.pk]


def test_a_token_of_one_rig_opens_no_other_rig_of_its_person(all_things: Things):
    person, other = all_things.world.supervisor, builders.a_rig()
    builders.a_crew_member(other, person)
    caller = a_caller(person, rig=other)
    assert unlike(answers(caller, all_things.keys), 404) == {}
    assert [rig["id"] for rig in caller.get("rigs/").json()["results"]] == [other.pk]
    assert caller.post("rigs/", {"name": "New", "kind": "land", "time_zone": "Etc/UTC"}).status_code == 403


def test_an_auditor_reads_everything_and_changes_nothing(all_things: Things):
    auditor = a_caller(builders.a_person(rig=all_things.world.rig, role="auditor"))
    assert unlike(answers(auditor, all_things.keys, "get"), 200) == {}
    assert unlike(answers(auditor, all_things.keys, "post", "patch", "delete"), 403) == {}


def test_a_token_that_reads_changes_nothing(all_things: Things):
    caller = a_caller(all_things.world.supervisor, writes=False)
    assert unlike(answers(caller, all_things.keys, "get"), 200) == {}
    assert unlike(answers(caller, all_things.keys, "post", "patch", "delete"), 403) == {}


def test_nobody_passes_without_a_token(all_things: Things):
    nobody = Caller()
    assert unlike(answers(nobody, all_things.keys), 401) == {}
    assert nobody.get("rigs/")["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize("end", ["revoked", "run out", "closed account", "unknown"])
def test_a_token_that_opens_nothing_is_answered_401(world: World, end: str):
    caller = a_caller(world.supervisor)
    token, at = AccessToken.objects.get(), timezone.now()
    if end == "revoked":
        revoke_token(token, by=world.supervisor, at=at)
    elif end == "run out":
        AccessToken.objects.update(created_at=at - timedelta(days=9), expires_at=at - timedelta(seconds=1))
    elif end == "closed account":
        world.supervisor.is_active = False
        world.supervisor.save()
    else:
        caller.word += "x"
    answer = caller.get("rigs/")
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"


def test_of_a_token_only_the_hash_is_kept(world: World):
    caller = a_caller(world.supervisor)
    kept = [str(value) for value in AccessToken.objects.values_list().get()]
    assert not any(caller.word in value for value in kept)


def test_whoever_has_a_password_of_somebody_else_calls_nothing(world: World, supervisor: Caller):
    world.supervisor.must_change_password = True
    world.supervisor.save()
    answer = supervisor.get("rigs/")
    assert answer.status_code == 403
    assert "password" in answer.json()["detail"]


def test_a_session_calls_too_and_writes_only_with_the_word_against_forgery(world: World):
    client = Client(enforce_csrf_checks=True)
    client.force_login(world.supervisor)
    address = f"/api/v1/rigs/{world.rig.pk}/wells/"
    assert client.get(address).status_code == 200
    refused = client.post(address, {"name": "B-2"}, content_type="application/json")
    assert (refused.status_code, refused["Content-Type"]) == (403, "application/problem+json")
    client.get("/profile/")
    word = client.cookies["csrftoken"].value
    sent = client.post(address, {"name": "B-2"}, content_type="application/json", headers={"X-CSRFToken": word})
    assert sent.status_code == 201, sent.json()
