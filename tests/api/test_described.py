"""The description of the API, held against the API itself by documents nobody thought of."""

import io
from collections.abc import Iterator
from contextlib import redirect_stderr
from typing import Any, Final

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from django.test import Client
from hypothesis import HealthCheck, Phase, given, settings
from rest_framework.throttling import SimpleRateThrottle
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from config.wsgi import application
from tests.builders_api import Caller, Things, a_caller
from tests_app.api.description import described

EXAMPLES: Final = 2
CHECKS: Final = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]


def test_the_description_is_openapi_3_1_and_complete():
    with redirect_stderr(io.StringIO()) as complaints:
        described.cache_clear()
        found = described()
    assert complaints.getvalue() == ""
    assert found["openapi"] == "3.1.0"
    calls = [call for methods in found["paths"].values() for call in methods.values()]
    names = [call["operationId"] for call in calls]
    assert len(set(names)) == len(names)
    assert all(call["summary"] and call["responses"] for call in calls)


def test_every_document_a_call_takes_has_an_example():
    found = described()
    lacking = [
        call["operationId"]
        for path, methods in found["paths"].items()
        for call in methods.values()
        if "application/json" in call.get("requestBody", {}).get("content", {})
        and "/calculations/" not in path
        and not call["requestBody"]["content"]["application/json"].get("examples")
    ]
    assert lacking == []


def test_the_page_lists_every_call_and_loads_nothing_from_elsewhere():
    page = Client().get("/api/v1/").content.decode()
    found = described()
    assert all(f">{address}<" in page for address in found["paths"])
    assert 'src="http' not in page
    assert Client().get("/api/v1/schema/").json()["info"]["title"] == "Wellhold"


SCHEMA: Final = schemathesis.openapi.from_wsgi("/api/v1/schema/", application)
CALLS: Final = [
    call
    for call in (found.ok() for found in SCHEMA.get_all_operations())
    if "/calculations/" not in call.path  # held to its library by tests/api/test_calculations.py
]
OF_ANOTHER: Final = {
    "content": "sealed",
    "certificate": "sealed",
    "correction": "sealed",
    "functions": "drawdown",
    "readings": "drawdown",
    "drawdown-test": "drawdown",
    "recharges": "pump test",
    "pumps": "pump test",
    "pump-test": "pump test",
    "function-lines": "function test",
    "function-test": "function test",
    "statements": "function test",
}
"""Which record a call below a record is tried on, by the next part of its address; any other on a pressure test."""


def keys_for(call: Any, things: Things) -> dict[str, int]:
    """Return the keys a call is tried with, so that it finds something."""
    first, _, rest = call.path.removeprefix("/api/v1/").partition("/")
    after = rest.partition("/")[2].partition("/")[0]
    name = OF_ANOTHER.get(after, first) if first == "records" else first
    return {parameter.name: things.keys[name] for parameter in call.path_parameters}


@pytest.fixture
def _connection_kept() -> Iterator[None]:
    """Leave the test's connection open between calls: the server closes its own, which here holds the transaction."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def caller(_connection_kept: None, all_things: Things, monkeypatch: pytest.MonkeyPatch) -> Caller:
    """The rig's supervisor, who may call as often as the test likes."""
    for scope in ("api", "api-writing", "api-password"):
        monkeypatch.setitem(SimpleRateThrottle.THROTTLE_RATES, scope, None)
    return a_caller(all_things.world.supervisor)


@pytest.mark.parametrize("call", CALLS, ids=lambda call: call.label)
def test_a_call_answers_as_it_is_described_whatever_is_sent(all_things: Things, caller: Caller, call: Any):
    keys = keys_for(call, all_things)

    @given(case=call.as_strategy(path_parameters=keys) if keys else call.as_strategy())
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    def answered(case: Any) -> None:
        case.call_and_validate(headers={"Authorization": f"Bearer {caller.word}"}, checks=CHECKS)

    answered()


def test_the_examples_of_the_description_are_read(all_things: Things, caller: Caller):
    """Each document given as an example is refused for what it names at most, never for its form."""
    strange = {}
    for call in CALLS:
        body = call.definition.raw.get("requestBody", {}).get("content", {}).get("application/json", {})
        for example in body.get("examples", {}).values():
            address = call.path.removeprefix("/api/v1/").format(**keys_for(call, all_things))
            answer = caller.send(call.method, address, example["value"], If_Match="*")
            said = str(answer.json())
            formal = any(words in said for words in ("Not known here", "is required", "valid choice"))
            if answer.status_code >= 400 and formal:
                strange[call.label] = said
    assert strange == {}
