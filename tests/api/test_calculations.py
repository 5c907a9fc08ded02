"""The calculations over HTTP: asked by anybody, refused in one shape, never a server error."""

import json
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from rest_framework.throttling import ScopedRateThrottle

from calcs.surface import CALCULATIONS, calculate

LIST = "/api/v1/calculations/"
COLUMN = {"mud_weight": "10 lb/gal", "depth": "7000 ft"}


@pytest.fixture(autouse=True)
def _nobody_asked_before():
    cache.clear()


@pytest.fixture
def caller() -> Client:
    """Somebody not signed in, and no database: the calculations hold no records."""
    return Client()


def post(caller: Client, name: str, body: Any, content_type: str = "application/json"):
    content = body if isinstance(body, bytes | str) else json.dumps(body)
    return caller.post(f"{LIST}{name}/", content, content_type=content_type)


def test_the_list_names_every_calculation_with_its_line(caller: Client):
    found = caller.get(LIST).json()["calculations"]
    assert [(one["name"], one["summary"]) for one in found] == [(c.name, c.summary) for c in CALCULATIONS.values()]


def test_an_answer_is_the_librarys_own(caller: Client):
    response = post(caller, "hydrostatic", COLUMN)
    assert response.status_code == 200
    assert response.json() == calculate("hydrostatic", COLUMN)


def test_one_calculation_says_what_it_answers(caller: Client):
    assert caller.get(f"{LIST}masp/").json() == {"name": "masp", "summary": CALCULATIONS["masp"].summary}


@pytest.mark.parametrize(
    ("body", "field"),
    [
        (b"", ""),
        (b"{", ""),
        (b"[]", ""),
        (b"\x00\xff\xfe", ""),
        (b'{"depth": Infinity}', "depth"),
        (b"[" * 100_000, ""),
        ({"mud_weight": "10 lb/gal"}, "depth"),
        ({**COLUMN, "depth": "7000 parsecs"}, "depth"),
        ({**COLUMN, "\ud800": 1}, "\ud800"),
        ({**COLUMN, "units": "metric"}, "units"),
    ],
)
def test_a_bad_document_is_400_with_field_message_and_remedy(caller: Client, body: Any, field: str):
    response = post(caller, "hydrostatic", body)
    assert response.status_code == 400
    error = response.json()["error"]
    assert error["field"] == field
    assert error["message"]
    assert error["remedy"]


@pytest.mark.parametrize("method", ["get", "post"])
def test_an_unknown_name_is_404_and_lists_the_known_ones(caller: Client, method: str):
    response = getattr(caller, method)(f"{LIST}hydrostatics/", data={}, content_type="application/json")
    assert response.status_code == 404
    assert response.json()["known"] == sorted(CALCULATIONS)
    assert response.json()["error"]["field"] == "name"


def test_a_document_over_the_limit_is_413(caller: Client, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1000
    assert post(caller, "hydrostatic", {**COLUMN, "x": "y" * 1000}).status_code == 413
    assert post(caller, "hydrostatic", COLUMN).status_code == 200


@pytest.mark.parametrize("content_type", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data"])
def test_another_kind_of_body_is_415_in_the_same_shape(caller: Client, content_type: str):
    response = post(caller, "hydrostatic", b"mud_weight=10", content_type)
    assert response.status_code == 415
    assert "message" in response.json()["error"]


@pytest.mark.parametrize("method", ["put", "patch", "delete"])
def test_other_methods_are_405(caller: Client, method: str):
    response = getattr(caller, method)(f"{LIST}hydrostatic/")
    assert response.status_code == 405
    assert "message" in response.json()["error"]


def test_asking_too_often_is_429(caller: Client, monkeypatch):
    monkeypatch.setitem(ScopedRateThrottle.THROTTLE_RATES, "calculations", "2/min")
    assert [post(caller, "hydrostatic", COLUMN).status_code for _ in range(3)] == [200, 200, 429]
