"""The main job by calls alone: from a rig that does not exist to a sealed test and its certificate."""

from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile

from equipment.models import Rig
from tests import builders
from tests.builders_api import a_caller
from tests.builders_tests_app import CONCLUDED, STARTED, good
from tests_app.actions import programmes
from trail.actors import System

LONG_AGO = "2025-01-25T12:00:00Z"


def made(answer: Any) -> dict[str, Any]:
    assert answer.status_code == 201, answer.content
    return answer.json()


def test_from_an_empty_database_to_a_sealed_test(db: None):
    administrator = builders.a_person("Ada Quill", superuser=True)
    caller = a_caller(administrator)
    rig = made(caller.post("rigs/", {"name": "Tern Six", "kind": "jack-up", "time_zone": "America/Chicago"}))
    member = Rig.objects.get(pk=rig["id"])
    programmes.choose_edition(member, edition="us-ocs", by=System.DEMO, at=builders.LONG_AGO)
    caller = a_caller(builders.a_person("Ben Marsh", rig=member, role="supervisor"), rig=member)
    at = f"rigs/{rig['id']}/"
    well = made(caller.post(f"{at}wells/", {"name": "A-12"}))
    masp = {"name": "12 1/4 in", "masp": "6000 psi", "masp_basis": "entered", "masp_reason": "Programme."}
    section = made(caller.post(f"wells/{well['id']}/sections/", masp))
    stack = made(caller.post(f"{at}stacks/", {"name": "Main stack", "kind": "surface"}))
    ram = {"name": "Upper pipe ram", "kind": "pipe-ram"}
    position = made(caller.post(f"stacks/{stack['id']}/positions/", ram))
    rated = {"kind": "pipe-ram", "serial": "PR-1", "rated_working_pressure": "10000 psi", "nominal_bore": "13.625 in"}
    rated |= {"closes_on_smallest": "5 in", "closes_on_largest": "5 in"}
    component = made(caller.post(f"{at}components/", rated))
    put_in = {"component": component["id"], "installed_at": LONG_AGO}
    made(caller.post(f"positions/{position['id']}/installations/", put_in))
    gauge = {"kind": "digital-recorder", "serial": "DR-1", "range_high": {"value": 20000, "unit": "psi"}}
    gauge |= {"calibrated_on": "2026-01-10", "calibration_due_on": "2027-01-10", "certificate_number": "C-1"}
    recorder = made(caller.post(f"{at}instruments/", gauge))
    heading = {"stack": stack["id"], "section": section["id"], "instruments": [recorder["id"]]}
    heading |= {"started_at": STARTED.isoformat(), "reason": "interval", "fluid": "water", "barrier": "plug"}
    heading |= {"pipe_in_hole": "5 in", "control_station": "drill-floor", "pump_operator": "Lee Roe"}
    record = made(caller.post(f"{at}pressure-tests/", heading))
    step = {"name": "Upper pipe ram", "pump_point": "Kill line", "lines": [{"position": position["id"]}]}
    step = made(caller.post(f"records/{record['id']}/steps/", step))
    content = good().clock_csv(STARTED)
    file = SimpleUploadedFile("pump.csv", content if isinstance(content, bytes) else content.encode())
    made(caller.upload(f"steps/{step['id']}/recordings/", {"file": file}))
    assert caller.get(f"steps/{step['id']}/").json()["outcome"] == "passed"
    made(caller.post(f"records/{record['id']}/conclusion/", {"concluded_at": CONCLUDED.isoformat()}))
    signed_by_all(record["id"], member)
    shown = caller.get(f"records/{record['id']}/").json()
    assert shown["sealed_at"]
    assert shown["passed"] is True
    assert caller.get(f"records/{record['id']}/content/").status_code == 200


ROLES = {"lessee": "lessee", "pump-operator": "tester", "contractor": "supervisor", "supervisor": "supervisor"}
"""The role on the rig in which somebody signs in a capacity."""


def signed_by_all(pk: int, rig: Rig) -> None:
    """Everybody the rules ask for signs, each by a token of their own, with their password."""
    address = f"records/{pk}/signatures/"
    missing = a_caller(builders.a_person(rig=rig)).get(address).json()["missing"]
    assert missing
    for capacity, *_ in missing:
        caller = a_caller(builders.a_person(rig=rig, role=ROLES[capacity]))
        etag = caller.get(f"records/{pk}/")["ETag"]
        said = {"role": capacity, "password": builders.PASSWORD}
        wrong = caller.post(address, {**said, "password": "not this"}, If_Match=etag)
        assert wrong.status_code == 422
        assert wrong.json()["errors"][0]["field"] == "password"
        assert caller.post(address, said).status_code == 428
        assert caller.post(address, said, If_Match='"v0"').status_code == 412
        made(caller.post(address, said, If_Match=etag))
