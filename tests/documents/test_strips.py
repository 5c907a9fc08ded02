"""Time strips: what is drawn where, and that it reads without colour."""

import itertools
import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from calcs.conditions import Condition
from tests_app.documents.strips import CONDITION_WORDS, WIDTH, Block, months_of, sample, scale_head, strip

CHICAGO = ZoneInfo("America/Chicago")
MONTHS = months_of(datetime(2026, 11, 28, tzinfo=CHICAGO), CHICAGO)


def drawn(condition: Condition, begin: datetime, length: timedelta) -> str:
    return strip([Block(condition, begin, begin + length)], MONTHS, label="A strip")


def test_twelve_months_end_with_the_one_asked_for_each_on_the_clock_of_the_rig():
    names = [month.name for month in MONTHS]
    assert " ".join(names) == "Dec Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov"
    assert MONTHS[0].begin == datetime(2025, 12, 1, tzinfo=CHICAGO)
    assert MONTHS[-1].end == datetime(2026, 12, 1, tzinfo=CHICAGO)
    assert all(a.end == b.begin for a, b in itertools.pairwise(MONTHS))


def test_a_block_stands_where_its_time_does():
    half = MONTHS[0].begin + (MONTHS[-1].end - MONTHS[0].begin) / 2
    html = drawn(Condition.OVERDUE, half, timedelta(days=73))
    x, width = re.search(r'<rect x="([\d.]+)" y="0" width="([\d.]+)"', html).groups()
    assert float(x) == pytest.approx(WIDTH / 2, abs=0.2)
    assert float(width) == pytest.approx(WIDTH / 5, abs=0.2)


def test_an_hour_not_met_is_wide_enough_to_see_and_stays_inside():
    for begin in (MONTHS[0].begin, MONTHS[5].begin, MONTHS[-1].end - timedelta(hours=1)):
        html = drawn(Condition.OVERDUE, begin, timedelta(hours=1))
        x, width = (float(found) for found in re.search(r'<rect x="([\d.]+)" y="0" width="([\d.]+)"', html).groups())
        assert width >= 3
        assert 0 <= x <= x + width <= WIDTH


def test_no_two_conditions_are_told_apart_by_tone_alone():
    shown = [one for one in CONDITION_WORDS if one not in (Condition.IN_PROGRESS, Condition.NOT_INSTALLED)]
    shapes = {re.sub(r'class="tone-\w+"|color="#\w+"', "", sample(one)) for one in shown}
    assert len(shapes) == len(shown)


def test_a_strip_says_what_it_shows_and_holds_no_style():
    html = strip([], MONTHS, label='Ram "A" <1>')
    assert 'role="img" aria-label="Ram &quot;A&quot; &lt;1&gt;"' in html
    assert "style" not in html


def test_the_head_names_the_months_and_the_years_they_begin():
    html = scale_head(MONTHS)
    assert re.findall(r">(\w+)</text>", html)[:5] == ["Dec", "2025", "Jan", "2026", "Feb"]
