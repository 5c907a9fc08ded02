"""When a requirement was not met: worked by hand, and held against the answer for each moment of made-up histories."""

import datetime as dt
import itertools
import random
from unittest import mock
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from calcs import conditions
from calcs.conditions import Condition, Span, condition_of, spans
from calcs.exceeded import Exceedance, cut, exceedances, joined, told, was_met
from calcs.recurrence import Deadline, Deferred, Event, EventKind, Happened, Interval, Section, State, Tested, due

CHICAGO = ZoneInfo("America/Chicago")
FORTNIGHT = Interval.parse("14 d")
QUARTER = dt.timedelta(minutes=15)
BEGINNING = dt.datetime(2026, 2, 20, tzinfo=dt.UTC)


def on(day: int, hour: int = 0, minute: int = 0, month: int = 3) -> dt.datetime:
    return dt.datetime(2026, month, day, hour, minute, tzinfo=CHICAGO)


def passing(day: int, month: int = 3, **kept: float | str) -> Tested:
    return Tested(on(day, 8, month=month), on(day, 10, month=month), True, **kept)


def found(
    *history: Event, since: dt.datetime | None = None, until: dt.datetime | None = None
) -> tuple[Exceedance, ...]:
    return exceedances(
        FORTNIGHT, Deadline.MIDNIGHT, history, since=since or on(2, 10), until=until or on(1, month=6), zone=CHICAGO
    )


def outline(*history: Event) -> list[tuple[str, dt.datetime, dt.datetime | None]]:
    return [(one.condition.value, one.begin, one.end) for one in found(*history)]


# Against the answer at each moment

MOMENTS = st.integers(0, 70 * 24 * 4).map(lambda quarters: BEGINNING + quarters * QUARTER)
PRESSURES = st.sampled_from([None, 35e6, 55e6])


@st.composite
def made_tests(draw: st.DrawFn) -> Tested:
    started = draw(MOMENTS)
    if draw(st.integers(0, 6)) == 0:
        return Tested(started, None, draw(st.sampled_from([None, False])))
    concluded = started + draw(st.integers(0, 400)) * QUARTER
    short = draw(st.sampled_from(["", "", "", "held too low"]))
    return Tested(started, concluded, draw(st.booleans()), draw(PRESSURES), short)


EVENTS = st.one_of(
    made_tests(),
    made_tests(),
    st.builds(Happened, st.sampled_from([k for k in EventKind if k not in {"tested", "section", "deferred"}]), MOMENTS),
    st.builds(Section, MOMENTS, st.sampled_from([None, 48e6])),
    st.builds(lambda at, hours: Deferred(at, at + dt.timedelta(hours=hours)), MOMENTS, st.integers(1, 500)),
)
RULES = st.sampled_from(["14 d midnight", "7 d exact", "1 month midnight", "336 h exact", "only events"])
FORGETTING = st.sampled_from([None, None, dt.timedelta(days=3)])
ZONES = st.sampled_from([CHICAGO, ZoneInfo("Europe/Oslo"), ZoneInfo("Australia/Sydney")])


def at_the_moment(found: tuple[Span, ...], moment: dt.datetime) -> Span:
    holds = [
        span
        for span in found
        if span.begin.astimezone(dt.UTC) <= moment and (span.end is None or moment < span.end.astimezone(dt.UTC))
    ]
    assert len(holds) == 1, f"{moment} lies in {len(holds)} spans"
    return holds[0]


@settings(max_examples=400, deadline=None)
@given(st.lists(EVENTS, max_size=9), RULES, ZONES, FORGETTING, st.integers(0, 2**32))
def test_a_moment_lies_in_a_span_not_met_exactly_when_it_was_overdue_or_due_at_once(
    history: list[Event], rule: str, zone: ZoneInfo, forget: dt.timedelta | None, seed: int
) -> None:
    chance = random.Random(seed)
    interval, deadline = None, None
    if rule != "only events":
        words, last = rule.rsplit(" ", 1)
        interval, deadline = Interval.parse(words), Deadline(last)
    since, until = BEGINNING + dt.timedelta(days=3), BEGINNING + dt.timedelta(days=100)
    window = {"since": since, "until": until, "zone": zone, "forget": forget}
    whole = spans(interval, deadline, history, **window)
    missed = exceedances(interval, deadline, history, **window)
    edges = [edge.astimezone(dt.UTC) for span in whole for edge in (span.begin, span.end) if edge]
    moments = [edge + chance.choice([-1, 0, 0, 1]) * dt.timedelta(microseconds=1) for edge in edges]
    moments += [since + chance.random() * (until - since) for _ in range(12)]
    for moment in moments:
        if not since <= moment < until:
            continue
        answer = due(interval, deadline, history, at=moment, zone=zone, forget=forget)
        state, span = answer.state, at_the_moment(whole, moment)
        assert condition_of(answer, at=moment) is span.condition, f"{moment}: {state} is not {span.condition}"
        counted = [one for one in missed if one.counted and one.length(moment, moment + dt.timedelta(microseconds=1))]
        assert bool(counted) is (state in {State.OVERDUE, State.DUE_NOW})
        assert was_met(interval, deadline, history, at=moment, zone=zone, forget=forget) is (not counted)


def test_spans_follow_one_another_and_no_two_alike_touch() -> None:
    whole = spans(
        FORTNIGHT,
        Deadline.MIDNIGHT,
        [Happened(EventKind.INSTALLED, on(1)), passing(2), Deferred(on(3), on(20)), passing(25)],
        since=on(1),
        until=on(30, month=4),
        zone=CHICAGO,
    )
    conditions = [span.condition for span in whole]
    told = ["open", "in-progress", "in-date", "deferred", "overdue", "in-date", "overdue"]
    assert conditions == told
    assert all(one.end == later.begin for one, later in itertools.pairwise(whole))
    assert whole[-1].end is None


# Worked by hand: Chicago puts its clocks forward on 8 March 2026


def test_an_interval_that_ran_out_is_late_from_midnight_until_the_next_test_passed() -> None:
    """2 March + 14 days = 16 March; its end is 00:00 on the 17th. Tested on the 20th at 10:00: 3 d 10 h late."""
    [one] = found(passing(2), passing(20), until=on(30))
    assert (one.condition, one.begin, one.end) == (Condition.OVERDUE, on(17), on(20, 10))
    assert one.length(on(1), on(30)) == dt.timedelta(days=3, hours=10)
    assert one.why == (
        "No test begun before midnight at the end of 16 Mar 2026, UTC−5, 14 days after the one that passed "
        "2 Mar 2026, 10:00 UTC−6."
    )
    assert one.ended == "Passed 20 Mar 2026, 10:00 UTC−5"
    assert one.ended_by == passing(20)


def test_a_test_begun_in_time_and_concluded_after_the_deadline_leaves_no_gap() -> None:
    late = Tested(on(16, 23, 59), on(17, 9), True)
    assert outline(passing(2), late)[0][1] == on(1, month=4)


def test_a_test_begun_at_the_deadline_is_late() -> None:
    assert found(passing(2), Tested(on(17), on(17, 9), True))[0].end == on(17, 9)


def test_a_test_begun_in_time_that_failed_leaves_a_gap_from_its_failure() -> None:
    failed = Tested(on(16, 22), on(17, 2), False)
    [one] = found(passing(2), failed, passing(18), until=on(30))
    assert (one.begin, one.end) == (on(17, 2), on(18, 10))
    assert "The test concluded 17 Mar 2026, 02:00 UTC−5, begun in time, failed." in one.why


def test_what_was_installed_stays_open_until_its_first_test_begins() -> None:
    [one, _] = found(Happened(EventKind.INSTALLED, on(5, 6)), passing(6), since=on(5, 6))
    assert (one.condition, one.begin, one.end) == (Condition.OPEN, on(5, 6), on(6, 8))
    assert one.why == "Installed 5 Mar 2026, 06:00 UTC−6, and no test passed since."
    assert one.ended == "Test begun 6 Mar 2026, 08:00 UTC−6"


def test_a_repair_opens_it_again_while_it_is_overdue_and_that_is_one_gap() -> None:
    [one] = found(passing(2), Happened(EventKind.REPAIRED, on(19, 12)), passing(20), until=on(30))
    assert (one.condition, one.begin, one.end) == (Condition.OVERDUE, on(17), on(20, 8))
    assert "Repaired 19 Mar 2026, 12:00 UTC−5, and no test passed since." in one.why


def test_a_section_that_asks_for_more_opens_what_was_tested_lower() -> None:
    lower, higher = passing(2, pressure_gauge=35e6), passing(8, pressure_gauge=55e6)
    [one] = found(lower, Section(on(5), 48e6), higher, until=on(20))
    assert (one.condition, one.begin, one.end) == (Condition.OPEN, on(5), on(8, 8))
    assert one.why.startswith("Section begun 5 Mar 2026, 00:00 UTC−6 that asks for a higher pressure")


def test_a_section_that_asks_for_less_ends_the_gap() -> None:
    [one] = found(passing(2, pressure_gauge=35e6), Section(on(5), 48e6), Section(on(7, 6), 20e6), until=on(12))
    assert one.end == on(7, 6)
    assert one.ended == "Section begun 7 Mar 2026, 06:00 UTC−6, for which an earlier test is enough"


def test_a_deferral_is_named_and_not_counted_and_what_follows_it_is() -> None:
    named, late = found(passing(2), Deferred(on(15), on(19)), passing(20), until=on(30))
    assert (named.condition, named.counted, named.begin, named.end) == (Condition.DEFERRED, False, on(17), on(19))
    assert named.ended == "Ran out 19 Mar 2026, 00:00 UTC−5"
    assert (late.condition, late.begin, late.end) == (Condition.OVERDUE, on(19), on(20, 10))
    assert late.why.startswith("The deferral ran out at midnight at the end of 18 Mar 2026, UTC−5. Due before")


def test_a_deferral_granted_late_does_not_reach_back() -> None:
    late, named = found(passing(2), Deferred(on(18, 12), on(21)), until=on(20))
    assert (late.begin, late.end, late.counted) == (on(17), on(18, 12), True)
    assert late.ended == "Deferred 18 Mar 2026, 12:00 UTC−5, until midnight at the end of 20 Mar 2026, UTC−5"
    assert (named.begin, named.end, named.ended) == (on(18, 12), None, "Not ended")


def test_what_is_out_of_service_is_asked_nothing_and_owes_a_test_when_it_is_back() -> None:
    out, back = Happened(EventKind.OUT_OF_SERVICE, on(10)), Happened(EventKind.BACK_IN_SERVICE, on(25))
    assert outline(passing(2), out, back, passing(26))[0] == ("open", on(25), on(26, 8))
    late = found(passing(2), Happened(EventKind.OUT_OF_SERVICE, on(18)), until=on(30))
    assert [(one.end, one.ended) for one in late] == [(on(18), "Taken out of service 18 Mar 2026, 00:00 UTC−5")]


def test_a_gap_that_began_before_the_window_keeps_its_beginning_and_is_cut_for_its_length() -> None:
    [one] = found(passing(2), passing(20), since=on(19), until=on(25))
    assert one.begin == on(17)
    assert one.length(on(19), on(25)) == dt.timedelta(days=1, hours=10)


def test_a_gap_that_ended_before_the_window_is_left_out() -> None:
    assert found(passing(2), passing(20), since=on(20, 10), until=on(25)) == ()


def test_a_night_on_which_the_clocks_go_back_is_counted_as_the_time_that_passed() -> None:
    """17 October + 14 = the 31st; late from 00:00 CDT on 1 November. Tested at 12:00 CST, 13 h on."""
    [one] = found(
        passing(17, 10),
        Tested(on(1, 12, month=11), on(1, 12, month=11), True),
        since=on(18, month=10),
        until=on(2, month=11),
    )
    assert one.begin == on(1, month=11)
    assert one.length(on(1, month=10), on(2, month=11)) == dt.timedelta(hours=13)


def test_nothing_known_is_open_from_the_first_moment_asked_about() -> None:
    [one] = found(since=on(1), until=on(5))
    assert (one.condition, one.begin, one.end) == (Condition.OPEN, on(1), None)
    assert one.why == "Never passed a test that counts."


def test_five_years_of_tests_work_each_date_out_once() -> None:
    first = dt.datetime(2021, 1, 1, tzinfo=dt.UTC)
    begun = [first + n * dt.timedelta(days=15) for n in range(5 * 24)]
    history = [Tested(at, at + dt.timedelta(hours=1), True) for at in begun]
    with mock.patch.object(conditions, "deadline_after", wraps=conditions.deadline_after) as worked_out:
        whole = spans(FORTNIGHT, Deadline.EXACT, history, since=first, until=begun[-1], zone=CHICAGO)
    assert len([span for span in whole if span.condition is Condition.OVERDUE]) == len(begun) - 1
    assert worked_out.call_count == len(begun) - 1


# Pieces: what is asked may change between two of them


def test_pieces_that_touch_and_are_alike_become_one_span_with_the_end_of_the_last() -> None:
    whole = spans(FORTNIGHT, Deadline.MIDNIGHT, [passing(2)], since=on(2, 10), until=on(25), zone=CHICAGO)
    pieces = [cut(whole, None, on(20), ended="What is asked changed"), cut(whole, on(20), on(25), ended="Removed")]
    in_date, late = joined(pieces)
    assert (in_date.condition, late.condition) == (Condition.IN_DATE, Condition.OVERDUE)
    assert (late.begin, late.end, late.ended_otherwise) == (on(17), on(25), "Removed")
    assert [one.ended for one in told([in_date, late], CHICAGO)] == ["Removed"]


def test_pieces_with_time_between_them_stay_two_gaps() -> None:
    whole = spans(FORTNIGHT, Deadline.MIDNIGHT, [passing(2)], since=on(2, 10), until=on(30), zone=CHICAGO)
    first, second = cut(whole, on(18), on(20)), cut(whole, on(22), None)
    assert [(one.begin, one.end) for one in told(joined([first, second]), CHICAGO)] == [
        (on(18), on(20)),
        (on(22), None),
    ]
