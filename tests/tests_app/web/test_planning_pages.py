"""Calendar and plan: what runs out on which day of the rig's clock, and the days of testing proposed."""

import re
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from equipment.models import StackKind
from tests import builders
from tests.builders_tests_app import SIGNED, World, a_sealed_record
from tests.builders_work import a_deferral, key_of
from tests_app.durations import durations
from tests_app.queries.planning import EVERY_DAY, Estimate, outstanding_on, plan_ahead


def page_of(web: Client, world: World, name: str, **query: str) -> HttpResponse:
    return web.get(reverse(f"tests_app:{name}", args=[world.rig.pk]), query)


def said(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_what_runs_out_stands_on_its_last_day_and_leads_to_the_due_list(web: Client, world: World):
    a_sealed_record(world)
    page = page_of(web, world, "calendar")
    day = page.content.decode().partition('datetime="2026-03-16"')[2].partition("</li>\n")[0]
    assert re.search(r"\d+ runs? out", day)
    assert "since=2026-03-16&amp;before=2026-03-16" in day
    assert "owed already" in said(page)


def test_a_deferral_stands_on_the_day_it_ends(web: Client, world: World):
    a_sealed_record(world)
    until = SIGNED + timedelta(days=16)
    a_deferral(world, key_of(world, "pressure-test", "Upper pipe ram"), at=SIGNED, until=until)
    rows = page_of(web, world, "calendar", export="csv", kind="Deferral ends").content.decode().splitlines()
    assert len(rows) == 2
    assert rows[1].startswith('2026-03-18,Deferral ends,Pressure test,"Upper pipe ram')


def test_the_calendar_turns_to_later_days_and_never_to_earlier_ones(web: Client, world: World):
    a_sealed_record(world)
    april = said(page_of(web, world, "calendar", start="2026-04-01", days="14"))
    assert "1 Apr 2026 to 14 Apr 2026" in april
    for start in ("2020-01-01", "2031-01-01", "never"):
        assert "2 Mar 2026 to 15 Mar 2026" in said(page_of(web, world, "calendar", start=start, days="14"))


def test_a_plan_says_when_with_what_and_how_many_renew(web: Client, world: World):
    a_sealed_record(world)
    page = said(page_of(web, world, "plan", **{"0-on": "2026-03-14", "0-words": "casing run"}))
    assert "Test today, Mon 2 Mar 2026: these " in page
    assert re.search(r"Test on day 12, Sat 14 Mar 2026, with the casing run: these \d+ items renew", page)
    assert "common practice; no rule states them" in page


def test_what_cannot_be_read_is_said_beside_its_field_and_kept(web: Client, world: World):
    query = {"plan": "1", "0-on": "2026-09-01", "0-words": "casing run", "1-words": "bit trip", "min-drill": "-4"}
    page = page_of(web, world, "plan", **query)
    assert page.status_code == 200
    for words in ("does not reach that day", "Give the day of it.", "greater than or equal to 0", 'value="bit trip"'):
        assert words in page.content.decode()


def test_the_address_of_a_plan_holds_what_was_chosen_and_nothing_else(web: Client, world: World):
    query = {"plan": "1", "days": "60", "3-on": "2026-03-14", "3-words": "casing run", "4-on": "", "min-drill": "30"}
    query |= {"min-function-test": "12"}
    moved = page_of(web, world, "plan", **query)
    assert parse_qs(urlsplit(moved["Location"]).query) == {
        "days": ["60"],
        "0-on": ["2026-03-14"],
        "0-words": ["casing run"],
        "min-function-test": ["12"],
    }


def test_own_minutes_change_the_hours_and_the_list_goes_along(web: Client, world: World):
    usual = page_of(web, world, "plan", export="csv", what="function-test").content.decode().splitlines()
    own = page_of(web, world, "plan", export="csv", what="function-test", **{"min-function-test": "12"})
    assert len(usual) > 5
    assert {row.rpartition(",")[2] for row in usual[1:]} == {"5"}
    assert {row.rpartition(",")[2] for row in own.content.decode().splitlines()[1:]} == {"12"}


def test_a_plan_keeps_everything_in_date_and_leaves_daily_rounds_out(world: World):
    a_sealed_record(world)
    owed = outstanding_on(world.rig, at=SIGNED)
    known = durations()
    plan = plan_ahead(world.rig, owed, at=SIGNED, days=60, durations=known, estimate=Estimate.of(known))
    planned = {test.outstanding.obligation.key for window in plan.windows for test in window.tests}
    left = {one.obligation.key: why for one, why in plan.not_planned}
    assert {one.obligation.key for one in plan.running_out} == planned
    assert all(why for why in left.values())
    daily = [one for one in owed if one.obligation.interval == "1 d"]
    assert daily
    assert {left[one.obligation.key] for one in daily} == {EVERY_DAY}


def test_more_components_take_no_more_queries(
    web: Client, world: World, django_assert_max_num_queries: DjangoAssertNumQueries
):
    counts = []
    for _ in range(2):
        for name in ("calendar", "plan"):
            page_of(web, world, name)
            with django_assert_max_num_queries(30) as met:
                page_of(web, world, name)
            counts.append(len(met))
        builders.a_filled_stack(world.rig, StackKind.SUBSEA)
    assert counts[:2] == counts[2:]


def test_a_pressure_test_of_the_plan_is_credited_as_the_function_test_of_what_it_closed(world: World):
    # 30 CFR 250.737(d)(9): every seven days between pressure tests.
    a_sealed_record(world)
    outstanding = outstanding_on(world.rig, at=SIGNED)
    given = durations()
    ahead = plan_ahead(world.rig, outstanding, at=SIGNED, days=20, durations=given, estimate=Estimate.of(given))
    pressure, function = (key_of(world, what, "Upper pipe ram") for what in ("pressure-test", "function-test"))
    by_day = {
        window.window.ahead: {test.renewal.key: test.renewal.by for test in window.tests}
        for window in ahead.windows
        if window.together.key == "stack"
    }
    shared = [day for day, tests in by_day.items() if pressure in tests and function in tests]
    assert shared
    assert all(by_day[day][function] == pressure for day in shared)
