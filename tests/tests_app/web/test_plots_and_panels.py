"""Plots as data for the page, and what the tests add to the pages of equipment."""

from django.test import Client, RequestFactory
from django.urls import reverse

from equipment.web import panels
from tests import builders
from tests.builders_tests_app import SIGNED, World, a_draft, a_recording, a_sealed_record, a_step, good
from tests_app.models import Step


def models_named(plot: dict, name: str) -> list[dict]:
    """Every description of a model of that type, wherever it stands in the plot."""
    found: list[dict] = []

    def look(part: object) -> None:
        if isinstance(part, dict):
            if part.get("name") == name and "attributes" in part:
                found.append(part["attributes"])
            for value in part.values():
                look(value)
        elif isinstance(part, list):
            for value in part:
                look(value)

    look(plot)
    return found


def a_judged_step(world: World) -> Step:
    draft = a_draft(world)
    step = a_step(draft, world, "Upper pipe ram")
    a_recording(draft, world, good())
    step.refresh_from_db()
    return step


def test_the_plot_of_a_step_shows_both_judged_windows_and_its_mark(web: Client, world: World):
    step = a_judged_step(world)
    plot = web.get(reverse("tests_app:step-plot", args=[step.pk])).json()
    boxes = models_named(plot, "BoxAnnotation")
    words = {label["text"] for label in models_named(plot, "Label")}
    [mark] = [box for box in boxes if box.get("name") == f"mark-{step.pk}"]
    assert {"Low hold, passed", "High hold, passed", "Step 1"} <= words
    assert plot["marks"] == [f"mark-{step.pk}"]
    assert mark["editable"]
    seconds = [(mark[side] - plot["offset"]) / 1000 for side in ("left", "right")]
    assert seconds == [step.chosen_marks["start_s"], step.chosen_marks["end_s"]]


def test_the_plot_of_a_whole_file_runs_on_the_rigs_clock(web: Client, world: World):
    step = a_judged_step(world)
    plot = web.get(reverse("tests_app:recording-plot", args=[step.recording_id])).json()
    assert plot["offset"] == 1772431200000  # 2026-03-02 06:00 as the wall clock of Chicago shows it
    assert plot["marks"] == [f"mark-{step.pk}"]


def test_the_plot_of_a_sealed_step_is_drawn_from_what_was_sealed(web: Client, world: World):
    record = a_sealed_record(world)
    plot = web.get(reverse("tests_app:content-plot", args=[record.pk, 1])).json()
    assert plot["marks"] == []
    assert len(models_named(plot, "BoxAnnotation")) >= 2
    assert web.get(reverse("tests_app:content-plot", args=[record.pk, 9])).status_code == 404


def test_a_plot_needs_no_code_from_the_server(web: Client, world: World):
    text = web.get(reverse("tests_app:step-plot", args=[a_judged_step(world).pk])).content.decode()
    assert "CustomJS" not in text


def test_a_step_without_evidence_has_an_empty_plot(web: Client, world: World):
    step = a_step(a_draft(world), world, "Upper pipe ram")
    assert web.get(reverse("tests_app:step-plot", args=[step.pk])).json()["marks"] == []


def test_a_components_page_shows_its_tests_and_when_the_next_must_begin(web: Client, world: World):
    record = a_sealed_record(world)
    ram = world.at("Upper pipe ram").installations.get().component
    page = web.get(reverse("equipment:component", args=[ram.pk])).content.decode()
    assert reverse("tests_app:record", args=[record.pk]) in page
    assert "midnight at the end of 16 Mar 2026, UTC−5" in page


def test_what_is_never_tested_has_no_panel_but_that_of_its_defects(world: World):
    request = RequestFactory().get("/")
    request.user = world.supervisor
    unit = builders.a_component(world.rig, "closing-unit")
    (only,) = panels.component_parts(request, unit)
    assert 'id="defects"' in only


def test_the_drawing_of_the_stack_knows_how_each_position_stands(world: World):
    a_sealed_record(world)
    marks = panels.states_of(world.stack, SIGNED)
    ram, valve = (marks[world.at(name).pk] for name in ("Upper pipe ram", "Inner kill valve"))
    assert (ram.word, ram.shape, ram.tone) == ("Function test: in date", "in-date", "good"), "due first"
    assert ram.detail == "before midnight at the end of 9 Mar 2026, UTC−5"
    assert (valve.word, valve.tone) == ("Never tested, installed 400 days ago", "bad")
