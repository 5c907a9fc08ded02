"""docker-compose.yml, read against the Compose Specification's own schema, since no Docker engine runs the checks."""

import json
import re
from importlib.resources import files
from typing import Any

import jsonschema
import pytest
import yaml

from tests.architecture.source import ROOT

ONE_SHOT = {"migrate"}
OF_OUR_IMAGE = ("web", "worker", "beat", "migrate")
SECRET = re.compile(r"SECRET|PASSWORD|AUTH|TOKEN")
SUBSTITUTION = re.compile(r"\$\{(?P<name>\w+)(?P<rest>[^}]*)\}")


@pytest.fixture(scope="module")
def text() -> str:
    return (ROOT / "docker-compose.yml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def compose(text: str) -> dict[str, Any]:
    return yaml.safe_load(text)


def test_it_follows_the_compose_specification(compose: dict[str, Any]):
    # The schema published with the Compose Specification, as the package check-jsonschema carries it.
    schema = json.loads((files("check_jsonschema") / "builtin_schemas" / "vendor" / "compose-spec.json").read_bytes())
    checker = jsonschema.validators.validator_for(schema)(schema)
    assert [error.message for error in checker.iter_errors(compose)] == []
    wrong = {**compose, "services": {**compose["services"], "web": {**compose["services"]["web"], "pors": []}}}
    assert list(checker.iter_errors(wrong)) != [], "the schema must notice a misspelt key, or it checks nothing"


def test_every_service_waited_for_exists_and_can_say_that_it_is_ready(compose: dict[str, Any]):
    services = compose["services"]
    for name, service in services.items():
        for other, how in service.get("depends_on", {}).items():
            assert other in services, f"{name} waits for {other}"
            ends = how["condition"] == "service_completed_successfully"
            assert ends == (other in ONE_SHOT)
            assert ends or "healthcheck" in services[other]


def test_every_lasting_service_has_a_health_check_and_comes_back(compose: dict[str, Any]):
    for name, service in compose["services"].items():
        if name not in ONE_SHOT:
            assert service["healthcheck"]["test"][0] in {"CMD", "CMD-SHELL"}, name
            assert service["restart"] == "unless-stopped", name


def test_every_volume_used_is_declared_and_used(compose: dict[str, Any]):
    used = {mount.split(":")[0] for service in compose["services"].values() for mount in service.get("volumes", [])}
    assert used == set(compose["volumes"])


def test_web_may_run_several_times(compose: dict[str, Any]):
    web = compose["services"]["web"]
    assert "container_name" not in web
    assert web["deploy"]["replicas"] > 1
    (port,) = web["ports"]
    assert re.fullmatch(r"\$\{WEB_PORTS:-[\d.]+:\d+-\d+\}:8000", port), "a fixed port would stop the second replica"


def test_the_timetable_runs_once(compose: dict[str, Any]):
    assert compose["services"]["beat"].get("deploy", {}).get("replicas", 1) == 1
    assert "--beat" not in compose["services"]["worker"]["command"]


def test_no_secret_has_a_default(compose: dict[str, Any], text: str):
    for found in SUBSTITUTION.finditer(text):
        if SECRET.search(found["name"]):
            assert found["rest"].startswith(":?"), f"{found['name']} must be asked for"
    for service in compose["services"].values():
        for variable, value in service.get("environment", {}).items():
            if SECRET.search(variable):
                assert SUBSTITUTION.search(value), f"{variable} is written out"


def test_the_example_names_every_variable(text: str):
    example = (ROOT / ".env.example").read_text(encoding="utf-8")
    offered = {line.split("=")[0] for line in example.splitlines() if re.match(r"\w+=", line)}
    assert {found["name"] for found in SUBSTITUTION.finditer(text)} == offered
    assert [
        line
        for line in example.splitlines()
        if SECRET.search(line.split("=")[0]) and not line.startswith("#") and not line.endswith("=")
    ] == []


def test_our_own_services_run_bare_of_rights(compose: dict[str, Any]):
    for name in OF_OUR_IMAGE:
        service = compose["services"][name]
        assert service["read_only"] is True
        assert service["cap_drop"] == ["ALL"]
        assert "privileged" not in service


def test_the_image_does_not_run_as_root_and_holds_no_secret():
    lines = (ROOT / "Dockerfile").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if line.startswith("USER ")] == ["USER wellhold"]
    assert [line for line in lines if SECRET.search(line)] == []
    ignored = (ROOT / ".dockerignore").read_text(encoding="utf-8").split()
    assert {".env", "var", ".git"} <= set(ignored)
