"""Reading recorders' files: every layout met in the field, and every refusal with its line and remedy."""

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.recording_layouts import MOST_BYTES
from calcs.recordings import MOST_SAMPLES, Recording, read_recording, reduced
from tests.recordings_made import PSI, Curve, psi, step

CURVE = step(interval=2)
START = datetime(2026, 3, 31, 23, 50, tzinfo=timezone(timedelta(hours=2)))


def assert_same(recording: Recording, curve: Curve = CURVE) -> None:
    np.testing.assert_allclose(recording.elapsed, curve.t, atol=1e-6)
    np.testing.assert_allclose(recording.pressures, curve.p * PSI, atol=psi(0.01))


def refusal(content: str | bytes, **how: object) -> InputError:
    with pytest.raises(InputError) as refused:
        read_recording(content, **how)  # type: ignore[arg-type]
    assert refused.value.remedy
    return refused.value


# --- layouts ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "content",
    [
        pytest.param(CURVE.csv(), id="comma"),
        pytest.param(CURVE.csv(separator="\t", head="t [s]\tp_psi"), id="tab"),
        pytest.param(CURVE.csv(separator=";", head="Elapsed seconds;P [psi]"), id="semicolon"),
        pytest.param(CURVE.csv(separator=";", head="Zeit (s);Druck (psi)", comma=True), id="semicolon, decimal comma"),
        pytest.param(CURVE.csv(separator="\t", head="Zeit (s)\tDruck (psi)", comma=True), id="tab, decimal comma"),
        pytest.param("\ufeff" + CURVE.csv(), id="byte order mark"),
        pytest.param(CURVE.csv().encode("utf-8-sig"), id="byte order mark in bytes"),
        pytest.param(CURVE.csv().encode("utf-16"), id="UTF-16"),
        pytest.param(CURVE.csv().encode("utf-16-be").join([b"\xfe\xff", b""]), id="UTF-16 big endian"),
        pytest.param(CURVE.csv().encode("utf-16-le"), id="UTF-16 without mark"),
        pytest.param(CURVE.csv(head="Time (s),Pressure – 20 °C (psi)").encode("cp1252"), id="Windows code page"),
        pytest.param(CURVE.csv().replace("\n", "\r\n"), id="CRLF"),
        pytest.param(CURVE.csv().replace("\n", "\r"), id="CR"),
        pytest.param(CURVE.csv() + "\n\n  \n", id="empty lines at the end"),
        pytest.param(CURVE.csv().replace(",", " , "), id="spaces around fields"),
        pytest.param("Recorder 7\nSerial: 4411, range 15k\n\n" + CURVE.csv(), id="free text above"),
        pytest.param(CURVE.csv(head="Time,Pressure\n(s),(psi)"), id="units in a line of their own"),
        pytest.param(CURVE.csv(head="Pressure log\nTime;Pressure (psi)", separator=";"), id="title above the head"),
        pytest.param(CURVE.csv(separator=";", head="t;P psi").replace("\n", ";\n"), id="separator at the end of lines"),
    ],
)
def test_the_layouts_of_recorders_read_alike(content: str | bytes) -> None:
    assert_same(read_recording(content))


def test_quoted_fields_with_decimal_commas_are_read() -> None:
    rows = (f'"{t:.1f}","{p:.2f}"'.replace(".", ",") for t, p in zip(CURVE.t, CURVE.p, strict=True))
    assert_same(read_recording('"Time (s)","Pressure (psi)"\n' + "\n".join(rows)))


@pytest.mark.parametrize("space", [" ", "\u00a0", "\u202f", "'"])
def test_spaces_between_thousands_are_read(space: str) -> None:
    rows = (f"{t:.1f};{p:,.2f}".replace(",", space) for t, p in zip(CURVE.t, CURVE.p, strict=True))
    assert_same(read_recording("t;P [psi]\n" + "\n".join(rows)))


def test_thousands_commas_with_decimal_points_are_read() -> None:
    rows = (f"{t:.1f}\t{p:,.2f}" for t, p in zip(CURVE.t, CURVE.p, strict=True))
    assert_same(read_recording("t\tP [psi]\n" + "\n".join(rows)))


def test_thousands_points_with_decimal_commas_are_read() -> None:
    rows = (f"{t:.1f};{p:,.2f}".translate(str.maketrans(",.", ".,")) for t, p in zip(CURVE.t, CURVE.p, strict=True))
    assert_same(read_recording("t;P [psi]\n" + "\n".join(rows)))


def test_a_comma_that_may_part_thousands_or_decimals_is_refused() -> None:
    rows = (f"{t:.0f}\t{p:,.0f}" for t, p in zip(CURVE.t, CURVE.p, strict=True))
    refused = refusal("t\tP [psi]\n" + "\n".join(rows))
    assert "thousands or decimals" in refused.reason
    assert refused.reason.startswith("Line ")


def test_three_decimals_in_bar_after_a_comma_are_decimals() -> None:
    rows = (f"{t:.0f};{p * PSI / 1e5:.3f}".replace(".", ",") for t, p in zip(CURVE.t, CURVE.p, strict=True))
    assert_same(read_recording("t;P [bar]\n" + "\n".join(rows)))


@pytest.mark.parametrize(
    ("head", "unit", "per_psi"),
    [
        ("Pressure (psi)", "psi", 1.0),
        ("Pressure, psig", "psi", 1.0),
        ("p_psi", "psi", 1.0),
        ("P [bar]", "bar", PSI / 1e5),
        ("P bar(g)", "bar", PSI / 1e5),
        ("Pressure (kPa)", "kPa", PSI / 1e3),
        ("MPa", "MPa", PSI / 1e6),
        ("Pressure [Pa]", "Pa", PSI),
    ],
)
def test_the_unit_is_read_from_the_column_head(head: str, unit: str, per_psi: float) -> None:
    rows = (f"{t:.1f};{p * per_psi:.6f}" for t, p in zip(CURVE.t, CURVE.p, strict=True))
    recording = read_recording(f"Time (s);{head}\n" + "\n".join(rows))
    assert recording.unit == unit
    assert_same(recording)


def test_the_unit_may_be_given_where_the_file_is_silent() -> None:
    assert_same(read_recording(CURVE.csv(head="Time,Pressure"), pressure_unit="psi"))
    assert_same(read_recording(CURVE.csv(head="").lstrip("\n"), pressure_unit="psig"))


@pytest.mark.parametrize(("unit", "seconds"), [("min", 60), ("h", 3600), ("ms", 0.001), ("Minutes", 60)])
def test_elapsed_time_in_other_units_becomes_seconds(unit: str, seconds: float) -> None:
    rows = (f"{t / seconds:.12f},{p:.2f}" for t, p in zip(CURVE.t, CURVE.p, strict=True))
    assert_same(read_recording(f"Time ({unit}),Pressure (psi)\n" + "\n".join(rows)))


def test_an_unknown_unit_of_time_is_refused_not_taken_for_seconds() -> None:
    refused = refusal("Time (ticks),P (psi)\n0,0\n1,300\n")
    assert "'ticks'" in refused.reason
    assert "Time (s)" in refused.remedy


@pytest.mark.parametrize("head", ["Time (elapsed)", "Time [s] since start", "Time (s) "])
def test_other_words_beside_a_time_leave_it_in_seconds(head: str) -> None:
    assert read_recording(f"{head},P (psi)\n0,0\n90,300\n").duration == 90


def test_elapsed_time_as_hours_minutes_seconds_is_read() -> None:
    times = (f"{int(t) // 3600:02d}:{int(t) // 60 % 60:02d}:{t % 60:04.1f}" for t in CURVE.t)
    assert_same(read_recording(CURVE.written(times, head="Time,Pressure (psi)", separator=",")))


def test_elapsed_seconds_are_made_to_start_at_zero() -> None:
    assert_same(read_recording(CURVE.written((f"{t + 1234:.1f}" for t in CURVE.t), head="t,p psi", separator=",")))


# --- clocks ----------------------------------------------------------------------------------------------------


def test_a_clock_with_offset_gives_the_moment_of_the_first_sample() -> None:
    recording = read_recording(CURVE.clock_csv(START))
    assert recording.started_at == START
    assert recording.started_at.utcoffset() == timedelta(hours=2)
    assert_same(recording)


@pytest.mark.parametrize("ending", ["Z", "+00:00", "+0000", "+00", " UTC"])
def test_every_way_to_write_the_offset_is_read(ending: str) -> None:
    recording = read_recording(CURVE.clock_csv(START.replace(tzinfo=UTC), ending=ending))
    assert recording.started_at == START.replace(tzinfo=UTC)
    assert_same(recording)


def test_a_clock_without_offset_needs_the_zone() -> None:
    content = CURVE.clock_csv(START, ending="")
    refused = refusal(content)
    assert refused.field == "recording"
    assert "zone" in refused.remedy
    recording = read_recording(content, zone=ZoneInfo("Europe/Oslo"))
    assert recording.started_at == START
    assert_same(recording)


@pytest.mark.parametrize(
    ("head", "hour"),
    [("Time (UTC)", 10), ("GMT time", 10), ("Time (UTC+02:00)", 8), ("Time UTC-5", 15), ("Clock [GMT +0530]", 4)],
)
def test_the_zone_a_column_head_states_is_the_clocks_whatever_the_rigs(head: str, hour: int) -> None:
    content = f"{head},P (psi)\n2026-03-31 10:00:00,0\n2026-03-31 10:00:01,1\n"
    minute = 30 if "0530" in head else 0
    began = read_recording(content, zone=ZoneInfo("America/Chicago")).started_at
    assert began == datetime(2026, 3, 31, hour, minute, tzinfo=UTC)


def test_an_offset_beside_each_time_goes_before_the_column_head() -> None:
    content = "Time (UTC),P (psi)\n2026-03-31T10:00:00+02:00,0\n2026-03-31T10:00:01+02:00,1\n"
    assert read_recording(content).started_at == datetime(2026, 3, 31, 8, tzinfo=UTC)


def test_date_and_time_in_columns_of_their_own_are_read() -> None:
    times = (f"{START + timedelta(seconds=float(t)):%Y-%m-%d;%H:%M:%S}" for t in CURVE.t)
    recording = read_recording(
        CURVE.written(times, head="Date;Time;Pressure (psi)", separator=";"), zone=ZoneInfo("Europe/Oslo")
    )
    assert recording.started_at == START
    assert_same(recording)


def test_a_date_with_points_is_day_month_year() -> None:
    times = (f"{START + timedelta(seconds=float(t)):%d.%m.%Y;%H:%M:%S}" for t in CURVE.t)
    content = CURVE.written(times, head="Datum;Uhrzeit;Druck (psi)", separator=";")
    assert read_recording(content, zone=ZoneInfo("Europe/Oslo")).started_at == START


def test_a_clock_of_whole_seconds_at_ten_samples_a_second_may_repeat() -> None:
    fast = Curve.through([(0, 0), (1, 300)], interval=0.1)
    times = ((START + timedelta(seconds=int(t + 1e-6))).isoformat() for t in fast.t)
    recording = read_recording(fast.written(times, head="Clock,P psi", separator=","))
    assert len(recording) == 601
    assert recording.duration == 60


def test_fractions_of_a_second_may_be_left_out_where_they_are_zero() -> None:
    fast = Curve.through([(0, 0), (1, 300)], interval=0.1)
    assert_same(read_recording(fast.clock_csv(START)), fast)


def test_a_change_of_offset_inside_the_file_is_followed() -> None:
    zone = ZoneInfo("Europe/Oslo")
    before = datetime(2026, 10, 25, 0, 50, tzinfo=UTC)
    times = [(before + timedelta(seconds=float(t))).astimezone(zone).isoformat() for t in CURVE.t]
    assert {text[-6:] for text in times} == {"+02:00", "+01:00"}
    assert_same(read_recording(CURVE.written(times, head="Clock,P (psi)", separator=",")))


def test_a_zone_that_puts_its_clock_forward_inside_the_file_loses_no_hour() -> None:
    zone = ZoneInfo("Europe/Oslo")
    before = datetime(2026, 3, 29, 0, 55, tzinfo=UTC)
    times = [(before + timedelta(seconds=float(t))).astimezone(zone).replace(tzinfo=None).isoformat() for t in CURVE.t]
    recording = read_recording(CURVE.written(times, head="Clock,P (psi)", separator=","), zone=zone)
    assert_same(recording)
    assert recording.started_at == before
    assert recording.clock(600) == before + timedelta(seconds=600)
    assert str(recording.clock(600)).endswith("03:05:00+02:00")


def test_a_zone_that_puts_its_clock_back_inside_the_file_is_refused_without_offsets() -> None:
    zone = ZoneInfo("Europe/Oslo")
    before = datetime(2026, 10, 25, 0, 55, tzinfo=UTC)
    times = [(before + timedelta(seconds=float(t))).astimezone(zone).replace(tzinfo=None).isoformat() for t in CURVE.t]
    refused = refusal(CURVE.written(times, head="Clock,P (psi)", separator=","), zone=zone)
    assert "Line 2" in refused.reason
    assert "twice or never" in refused.reason
    assert "offset" in refused.remedy


def test_a_clock_time_the_zone_leaves_out_is_refused_by_its_line() -> None:
    times = "2026-03-29 01:59:59,0\n2026-03-29 02:30:00,1\n2026-03-29 03:00:01,2\n"
    refused = refusal("Clock,P (psi)\n" + times, zone=ZoneInfo("Europe/Oslo"))
    assert "Line 3: the zone's clocks change" in refused.reason


def test_the_line_without_offset_is_named_where_others_have_one() -> None:
    refused = refusal("Clock,P (psi)\n2026-03-31T10:00:00Z,0\n2026-03-31T10:00:01,1\n")
    assert "Line 3: the clock has no offset" in refused.reason


# --- channels --------------------------------------------------------------------------------------------------

MANY = "No,Time (s),Pump (psi),Choke (bar),Temp (degC),Remark\n1,0,100,2,20,ok\n2,1,200,3,20,\n3,2,300,4,21,pump off\n"


def test_the_first_pressure_channel_is_read_by_default() -> None:
    recording = read_recording(MANY)
    assert recording.channels == ("Pump (psi)", "Choke (bar)")
    assert recording.channel == "Pump (psi)"
    np.testing.assert_allclose(recording.pressures, np.array([100, 200, 300]) * PSI)


@pytest.mark.parametrize("name", ["Choke (bar)", "choke (BAR)", "choke"])
def test_another_channel_is_chosen_by_its_name(name: str) -> None:
    recording = read_recording(MANY, channel=name)
    assert recording.unit == "bar"
    np.testing.assert_allclose(recording.pressures, np.array([2, 3, 4]) * 1e5)


def test_an_unknown_channel_is_refused_with_the_names_there_are() -> None:
    refused = refusal(MANY, channel="Kill")
    assert refused.field == "channel"
    assert "Pump (psi); Choke (bar)" in refused.remedy


# --- refusals --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "said"),
    [
        pytest.param("", "empty", id="empty"),
        pytest.param(b" \r\n\t\n", "empty", id="blank"),
        pytest.param(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "not text", id="image"),
        pytest.param(b"PK\x03\x04\x14\x00\x06\x00", "not text", id="zip"),
        pytest.param("Dear all,\nplease find the chart.\n", "No lines with a time and a pressure", id="letter"),
        pytest.param("Time (s),Pressure (psi)\n", "No lines with a time and a pressure", id="head alone"),
        pytest.param("300\n301\n302\n", "one column", id="one column"),
        pytest.param("t,p psi\n0,300\n", "fewer than two samples", id="one sample"),
        pytest.param("t,p psi\n0,300\n1,NaN\n2,300\n", "Line 3: 'NaN'", id="NaN"),
        pytest.param("t,p psi\n0,NaN\n1,300\n2,300\n", "Line 2: 'NaN'", id="NaN first"),
        pytest.param("t,p psi\n0,300\n1,inf\n2,300\n", "Line 3: ", id="infinite"),
        pytest.param("t,p psi\n0,300\n1,\n2,300\n", "Line 3: a field is blank", id="blank field"),
        pytest.param("t,p psi\n0,300\n1\n2,300\n", "Line 3: a field is blank", id="short line"),
        pytest.param("t,p psi\n0,300\n\n1,300\n", "Line 3: a field is blank", id="blank line in the middle"),
        pytest.param("t,p psi\n0,300\n1,oops\n2,300\n", "Line 3: 'oops' is not a number", id="text"),
        pytest.param("0,300\n1,oops\n2,300\n3,300\n", "Line 2", id="text, no head"),
        pytest.param("t,p psi\n0,300\n1,300\nEnd of test\n", "Line 4: ", id="text at the end"),
        pytest.param(
            "Run\n\nt,p psi\n0,300\n5,300\n4,300\n", "Line 6: the time goes back by 1 s", id="time going back"
        ),
        pytest.param("t,p psi\n3,300\n3,300\n", "same time", id="time standing still"),
        pytest.param("t,p psi\n0,300\n1,70000\n", "Line 3: 70,000 psi", id="too high"),
        pytest.param("t,p psi\n0,-60\n1,300\n", "Line 2: -60 psi", id="too low"),
        pytest.param("t,p\n0,300\n1,300\n", "does not say the unit", id="no unit"),
        pytest.param("t,Pressure (smoots)\n0,300\n1,300\n", "'smoots'", id="unknown unit"),
        pytest.param("t,Pressure (psia)\n0,300\n1,300\n", "absolute", id="psia"),
        pytest.param("t;Druck [bar abs]\n0;300\n1;300\n", "absolute", id="bar abs"),
        pytest.param("t,p psi\n0,5,300,5\n1,5,301,5\n", "Line 2 has 4 fields", id="decimal comma between commas"),
        pytest.param("Clock,p psi\n3/4/2026 10:00:00,300\n3/4/2026 10:00:01,300\n", "day and month", id="day or month"),
        pytest.param("Clock,p psi\n2026-04-03 10:00:00 PM,3\n2026-04-03 10:00:01 PM,3\n", "12-hour", id="12 hours"),
        pytest.param("Clock,p psi\n2026-13-03T10:00:00Z,3\n2026-13-03T10:00:01Z,3\n", "Line 2: ", id="month 13"),
        pytest.param("Clock,p psi\n2026-04-03T10:00:00Z,3\n2026-04-03T10:61:01Z,3\n", "Line 3: ", id="minute 61"),
        pytest.param("Clock,p psi\n2026-04-03T10:00:00+25:00,3\n2026-04-03T10:00:01+25:00,3\n", "Line 2: ", id="25 h"),
        pytest.param("Clock,p psi\n2026-04-03T10:00:00+01:75,3\n2026-04-03T10:00:01+01:75,3\n", "Line 2: ", id="75 m"),
        pytest.param("Clock,p psi\n0001-01-01T00:00:00Z,3\n0001-01-01T00:00:01Z,3\n", "Line 2: ", id="year 1"),
        pytest.param("t,p psi\n0,3\n1,300,5\n2,300\n", "Line 3 has 3 fields", id="one decimal comma between commas"),
        pytest.param('t,p psi\n0,3\n1,300\n2,"', "Line 4: a quotation mark", id="quotation mark at the end"),
        pytest.param('t,p psi\n0,3\n1,"300\n2,301\n', "Line 3: a quotation mark", id="open quotation mark"),
        pytest.param(
            't,p psi,note\n0,3,\n1,300,"a\n2,301,b\n3,302,c"\n', "Line 3: a quotation mark", id="lines in a remark"
        ),
        pytest.param("t,p psi\n0,3\n1,300\r2,301\n3,302\n", "Line 3 has 3 fields", id="half a line ending"),
        pytest.param("t,p psi\n0,3\n1,300,{}\n".format("x" * 200_000), "Line 3 has 3 fields", id="no end of a line"),
        pytest.param("t,p psi\n0,3\n1,5,300\n2,300\n", "Line 3 has 3 fields", id="a decimal comma in the time"),
        pytest.param("t;p bar\n0;20.5\n1;21,3\n", "Line 2: it can't be told", id="decimal points and commas"),
        pytest.param("t;p psi\n0;1,500.0\n1;21,3\n", "Line 3: it can't be told", id="thousands and decimal commas"),
        pytest.param("t;p bar\n0;20 5\n1;21 3\n", "Line 2: '20 5' is not a number", id="space for a decimal sign"),
        pytest.param("Date,p psi\n2026-04-03,3\n2026-04-04,3\n", "date without a time", id="date alone"),
        pytest.param("Time,p psi\n00:00:00,3\n00:00:75,3\n", "Line 3: ", id="75 seconds"),
    ],
)
def test_what_cannot_be_read_for_certain_is_refused_with_its_line(content: str | bytes, said: str) -> None:
    refused = refusal(content)
    assert refused.field == "recording"
    assert said in refused.reason


def test_separators_left_over_at_the_end_of_some_lines_are_no_fields() -> None:
    recording = read_recording("t,p psi\n0,300\n1,301,\n2,302,,\n")
    assert recording.elapsed.tolist() == [0, 1, 2]


def test_a_unit_that_contradicts_the_column_head_is_refused() -> None:
    refused = refusal(CURVE.csv(), pressure_unit="bar")
    assert refused.field == "pressure_unit"
    assert "psi" in refused.reason


def test_an_unknown_or_absolute_unit_given_is_refused() -> None:
    assert refusal(CURVE.csv(head="t,p"), pressure_unit="furlong").field == "pressure_unit"
    assert "absolute" in refusal(CURVE.csv(head="t,p"), pressure_unit="psia").reason


def test_more_samples_than_can_be_judged_are_refused() -> None:
    content = "t,p psi\n" + "".join(f"{t},300\n" for t in range(MOST_SAMPLES + 1))
    assert f"{MOST_SAMPLES:,}" in refusal(content).reason


def test_a_file_too_large_is_refused_before_it_is_read() -> None:
    assert "larger than" in refusal(b"0,300\n" * (MOST_BYTES // 6 + 1)).reason


WHOLE = [
    b"Serial: 5\r\n\r\nTime (s),Pressure (psi)\r\n0.0,300.5\r\n0.1,301\r\n0.2,302.25\r\n0.3,303\r\n",
    b"Elapsed;Druck (bar)\n0:00:00,0;20,5\n0:00:00,5;21\n0:00:01,0;1.021,5\n",
    b'"Clock"\t"P (kPa)"\n"2026-03-31T14:32:10+02:00"\t"2000"\n"2026-03-31T14:32:11+02:00"\t"2001"\n',
]


@settings(max_examples=400, deadline=None)
@given(
    whole=st.sampled_from(WHOLE),
    slips=st.lists(
        st.tuples(
            st.integers(0, 200), st.integers(0, 1), st.sampled_from([b"", *map(bytes, zip(b'09.,;:- \n\r\t"ZTx\0'))])
        ),
        min_size=1,
        max_size=3,
    ),
)
def test_no_slip_in_a_file_breaks_the_reader_or_makes_a_sample_up(whole: bytes, slips: list) -> None:
    content = whole
    for at, taken, put in slips:
        content = content[:at] + put + content[at + taken :]
    recording, refused = attempt(content)
    assert (recording is None) != (refused is None)
    assert recording is None or len(recording) <= content.count(b"\n") + content.count(b"\r")


@settings(max_examples=300, deadline=None)
@given(content=st.binary(max_size=200) | st.text(max_size=200) | st.text("0123456789.,;:\t\n-TZ psi", max_size=120))
def test_no_content_whatever_breaks_the_reader(content: str | bytes) -> None:
    recording, refused = attempt(content)
    assert (recording is None) != (refused is None)
    assert recording is None or (len(recording) >= 2 and np.isfinite(recording.pressures).all())
    assert refused is None or (refused.field in {"recording", "pressure_unit"} and refused.reason)


def attempt(content: str | bytes) -> tuple[Recording | None, InputError | None]:
    try:
        return read_recording(content, pressure_unit="psi", zone=UTC), None
    except InputError as refused:
        return None, refused


# --- samples and curves ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("t", "p", "unit", "field"),
    [
        ([0, 1], [300], "psi", "p"),
        ([0], [300], "psi", "t"),
        ([], [], "psi", "t"),
        ([0, 1], [300, None], "psi", "p"),
        ([0, "x"], [300, 300], "psi", "t"),
        ([0, float("nan")], [300, 300], "psi", "t"),
        ([1, 0], [300, 300], "psi", "t"),
        ([0, 1], [300, 300], "ells", "pressure_unit"),
        ([0, 1], [300, 300], "psia", "pressure_unit"),
        ([0, 1], [300, 1e6], "psi", "p"),
        ([[0, 1]], [[300, 300]], "psi", "t"),
    ],
)
def test_samples_that_make_no_recording_are_refused(t: list, p: list, unit: str, field: str) -> None:
    with pytest.raises(InputError) as refused:
        Recording.from_samples(t, p, unit)
    assert refused.value.field == field


@settings(max_examples=60, deadline=None)
@given(count=st.integers(2, 4_000), points=st.integers(2, 400), seed=st.integers(0, 99))
def test_the_reduced_curve_keeps_peaks_dips_and_ends(count: int, points: int, seed: int) -> None:
    p = np.random.default_rng(seed).uniform(0, 5_000, count)
    recording = Recording.from_samples(np.arange(count), p, "psi")
    times, pressures = reduced(recording, points)
    assert pressures.max() == recording.pressures.max()
    assert pressures.min() == recording.pressures.min()
    assert (times[0], times[-1]) == (0, recording.duration)
    assert (np.diff(times) > 0).all()
    assert len(times) <= max(points, 4) + 2
    at = np.searchsorted(recording.elapsed, times)
    np.testing.assert_array_equal(recording.pressures[at], pressures)
