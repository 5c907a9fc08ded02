"""A plan of line-ups asked for over HTTP is worked out by a worker and read with its steps."""

from tests.builders_api import a_caller
from tests.builders_line_ups import PLANNED, a_planning_world, keys_of
from tests_app.actions.line_up_answers import work_out
from trail.actors import System


def test_a_plan_is_asked_for_waits_and_is_read_with_its_steps(db: None):
    world = a_planning_world()
    caller = a_caller(world.supervisor)
    address = f"stacks/{world.stack.pk}/line-up-plans/"
    asked = {
        "section": world.section.pk,
        "reason": "interval",
        "barrier": "plug",
        "wanted": keys_of(world, ["Annular"]),
    }
    made = caller.post(address, asked).json()
    assert made["state"] == "waiting"
    work_out(made["id"], by=System.PLANNER, at=PLANNED)
    assert caller.get(f"line-up-plans/{made['id']}/").json()["lower_bound"] == 1
    steps = caller.get(f"line-up-plans/{made['id']}/line-ups/").json()["results"]
    assert [(step["pipe"], "Annular" in step["closed"]) for step in steps] == [("5 in", True)]


def test_a_wrong_side_is_refused_beside_its_field(db: None):
    world = a_planning_world()
    asked = {"section": world.section.pk, "reason": "interval", "barrier": "plug", "wanted": ["1:inside"]}
    answer = a_caller(world.supervisor).post(f"stacks/{world.stack.pk}/line-up-plans/", asked)
    assert answer.status_code in (400, 422)
    assert "not on the list" in answer.content.decode()
