"""Logs of WITSML 1.4.1.1 as recorder files: the same numbers as from text, and refused wherever something is missing.

The file is made by us after Energistics' WITSML Data Schema Specification 1.4.1.1, object `log`; element names, the
namespace and the words of indexType are from memory of it, since the standard could not be read here.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from calcs.errors import InputError
from calcs.recordings import read_channels, read_recording
from calcs.units import Dimension, to_si

START = datetime(2026, 2, 11, 12, tzinfo=UTC)
ROWS = [(second, 300.0 + second / 4, 2068.4 + second, 0.0) for second in range(0, 600, 5)]


def a_log(
    *,
    kind: str = "date time",
    index: str = "TIME",
    mnemonics: str = "TIME,SPP,ANN,FLOW",
    units: str = "unitless,psi,kPa,m3/s",
    null: str = "-999.25",
    rows: list[str] | None = None,
    head: str = "",
    between: str = "\n      ",
    version: str = "1.4.1.1",
    more: str = "",
) -> bytes:
    """A log as a recorder's software writes it, one row of data a line."""
    written = rows if rows is not None else [row_of(*row) for row in ROWS]
    lines = between.join(f"<data>{row}</data>" for row in written)
    return f"""<?xml version="1.0" encoding="UTF-8"?>{head}
<logs xmlns="http://www.witsml.org/schemas/1series" version="{version}">
  <log uidWell="W-1" uidWellbore="B-1" uid="L-1">
    <nameWell>Invented 1</nameWell><nameWellbore>Bore 1</nameWellbore><name>Pressure test</name>
    <indexType>{kind}</indexType><indexCurve>{index}</indexCurve><nullValue>{null}</nullValue>
    <logCurveInfo uid="TIME"><mnemonic>TIME</mnemonic><typeLogData>date time</typeLogData></logCurveInfo>
    <logCurveInfo uid="SPP"><mnemonic>SPP</mnemonic><unit>psi</unit></logCurveInfo>
    <logData>
      <mnemonicList>{mnemonics}</mnemonicList><unitList>{units}</unitList>
      {lines}
    </logData>
  </log>{more}
</logs>""".encode()


def row_of(second: int, *values: float) -> str:
    stamp = (START + timedelta(seconds=second)).isoformat(timespec="milliseconds")
    return ",".join([stamp, *map(str, values)])


def refused(content: bytes, **options: str) -> InputError:
    with pytest.raises(InputError) as caught:
        read_recording(content, **options)
    assert caught.value.field == "recording"
    assert caught.value.remedy
    return caught.value


def test_a_log_reads_as_the_same_samples_in_text():
    from_log = read_recording(a_log())
    text = "Time,SPP (psi)\n" + "\n".join(",".join(row_of(*row).split(",")[:2]) for row in ROWS)
    from_text = read_recording(text)
    assert from_log.started_at == from_text.started_at == START
    np.testing.assert_array_equal(from_log.elapsed, from_text.elapsed)
    np.testing.assert_array_equal(from_log.pressures, from_text.pressures)


def test_every_curve_of_pressure_can_be_chosen_in_its_own_unit_and_no_other():
    seen = read_channels(a_log())
    assert [one.name for one in seen] == ["SPP (psi)", "ANN (kPa)"]
    annulus = read_recording(a_log(), channel="ANN (kPa)")
    assert annulus.pressures[0] == pytest.approx(to_si(2068.4, "kPa", Dimension.PRESSURE))


def test_elapsed_time_is_read_in_its_unit():
    rows = [f"{second / 60},{pressure},0,0" for second, pressure, *_ in ROWS]
    found = read_recording(a_log(kind="elapsed time", units="min,psi,kPa,m3/s", rows=rows))
    assert found.duration == pytest.approx(ROWS[-1][0])
    assert found.started_at is None


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_a_log_is_read_in_the_encodings_of_xml(encoding: str):
    content = a_log().decode().replace('encoding="UTF-8"', "").encode(encoding)
    assert len(read_recording(content)) == len(ROWS)


def test_the_index_may_stand_in_any_column():
    rows = [",".join(reversed(row_of(*row).split(","))) for row in ROWS]
    found = read_recording(
        a_log(mnemonics="FLOW,ANN,SPP,TIME", units="m3/s,kPa,psi,unitless", rows=rows), channel="SPP (psi)"
    )
    np.testing.assert_array_equal(found.pressures, read_recording(a_log()).pressures)


@pytest.mark.parametrize("between", ["\n", ""])
def test_a_value_that_stands_for_none_is_refused_and_never_filled_in(between: str):
    rows = [row_of(*row) for row in ROWS]
    rows[7] = row_of(35, -999.25, 2100.0, 0.0)
    content = a_log(rows=rows, between=between)
    told = refused(content)
    assert "a field is blank" in told.reason
    if between:
        line = next(
            number for number, one in enumerate(content.decode().split("\n"), start=1) if "-999.25,2100.0" in one
        )
        assert told.reason.startswith(f"Line {line}:")


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (a_log(kind="measured depth"), "indexed by measured depth"),
        (a_log(kind=""), "indexed by nothing"),
        (a_log(index=""), "does not say which curve is its index"),
        (a_log(index="DEPTH"), "“DEPTH”, is none of the curves"),
        (a_log(mnemonics=""), "<mnemonicList>"),
        (a_log(units=""), "<unitList>"),
        (a_log(units="unitless,psi"), "4 curves but 2 units"),
        (a_log(units="unitless,m,degC,m3/s"), "No curve of the log has a unit of pressure"),
        (a_log(kind="elapsed time"), "has no unit"),
        (a_log(rows=[]), "no data"),
        (a_log(rows=[row_of(0, 1.0)]), "2 values stand for 4 curves"),
        (a_log(version="1.3.1.1"), "not of WITSML 1.4.1.1 but 1.3.1.1"),
        (a_log(more="<log><name>Other</name></log>"), "2 logs (Pressure test, Other)"),
        (b"<logs xmlns='http://www.witsml.org/schemas/1series' version='1.4.1.1'/>", "no log"),
        (b"<html></html>", "no WITSML log: it begins with <html>"),
        (a_log()[:-40], "broken or cut off"),
        (b"<a>" * 50, "no WITSML log"),
    ],
)
def test_what_a_log_lacks_is_named(content: bytes, why: str):
    assert why in refused(content).reason


def test_no_entity_is_expanded_and_nothing_outside_is_looked_at():
    # Billion laughs and external entities: OWASP, "XML External Entity Prevention Cheat Sheet".
    for head in (
        '<!DOCTYPE logs [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>',
        '<!DOCTYPE logs [<!ENTITY x SYSTEM "file:///etc/hostname">]>',
        '<!DOCTYPE logs SYSTEM "http://127.0.0.1:9/log.dtd">',
    ):
        assert "declares a document type" in refused(a_log(head=head)).reason
