"""The paper as its reader has it: what it says, how many pages, whom it lets check."""

import copy
import re
from collections.abc import Callable, Iterator

import pypdf
import pypdfium2
import pytest
import zxingcpp
from weasyprint.urls import FatalURLFetchingError

from tests.documents import examples
from tests.documents.conftest import Paper
from tests_app.documents.certificate import number_of, render, title_of
from tests_app.documents.content import Content

Printed = Callable[[Content], Paper]


@pytest.fixture(scope="module")
def passing(printed: Printed) -> Paper:
    return printed(examples.passing())


@pytest.fixture(scope="module")
def failing(printed: Printed) -> Paper:
    return printed(examples.failing())


@pytest.fixture(scope="module")
def typed(printed: Printed) -> Paper:
    return printed(examples.typed())


def test_a_passed_test_is_titled_a_certificate(passing: Paper):
    assert "CERTIFICATE OF PRESSURE TEST" in passing.pages[0]
    assert passing.reader.metadata is not None
    assert passing.reader.metadata.title == "Certificate of pressure test MERIDIAN-TERN-PT-000123"
    assert "NOT PASSED" not in passing.text.upper()


def test_a_test_with_a_line_left_failed_says_not_passed_and_is_never_called_a_certificate(failing: Paper):
    assert "Report of pressure test NOT PASSED" in failing.pages[0]
    assert failing.reader.metadata is not None
    assert "not passed" in str(failing.reader.metadata.title)
    for page in failing.pages:
        assert page.startswith("Report of pressure test — not passed") or "Report of pressure test — not passed" in page
    heads = [str(entry.title) for entry in _outline(failing.reader.outline)]
    titled = [str(failing.reader.metadata.title), failing.pages[0], *heads]
    assert not any("certificate" in words.lower() for words in titled)


def _outline(entries: list) -> Iterator[pypdf.generic.Destination]:
    for entry in entries:
        if isinstance(entry, list):
            yield from _outline(entry)
        else:
            yield entry


def test_the_report_names_each_line_left_failed_on_its_first_page(failing: Paper):
    for line in examples.failing()["open_lines"]:
        assert line["element"] in failing.pages[0]
        assert line["why"] in failing.pages[0]


def test_every_step_and_every_line_is_there(passing: Paper):
    content = examples.passing()
    assert sum(len(step["lines"]) for step in content["steps"]) == 25
    for step in content["steps"]:
        assert step["name"] in passing.pages[1]
        for line in step["lines"]:
            assert f"{line['element']} {line['component']['serial']}" in passing.pages[1]


def test_a_hold_that_proves_six_elements_is_printed_as_one_step_with_six_lines(passing: Paper):
    summary = passing.pages[1]
    step = summary[summary.index("2 Upper pipe ram on 5 in pipe") : summary.index("3 Upper pipe ram, choke side")]
    assert step.count("250–350") == 1
    assert step.count("10,000") == 1
    assert step.count("✓ Passed") == 7


def test_required_and_held_pressures_stand_side_by_side(passing: Paper):
    assert "1 Annular on 5 in pipe 250–350 295.6 3,500 3,514.9 5 min ✓ Passed" in passing.pages[1]


def test_each_hold_shows_start_end_lowest_highest_decay_and_duration(passing: Paper):
    assert "Low 250–350 06:06:30 5:00 301.2 296.6 295.6 301.2 5.6 1.2 ✓ Held" in passing.text
    assert "High ≥ 3,500 06:17:10 5:00 3,518.6 3,514.9 3,514.9 3,519.6 4.7 1.0 ✓ Held" in passing.text


def test_a_failed_attempt_stands_beside_its_retest(failing: Paper):
    assert "Tested again as step 9." in failing.text
    assert "Retest of step 1." in failing.text
    assert "Proved by step 9." in failing.text
    assert "High hold: held 1:24 of the 5:00 required; it fell under 3,500 psi after 84 s." in failing.text


def test_a_hold_that_was_not_found_says_why_and_shows_no_figure(failing: Paper):
    assert "High ≥ 10,000 – – – – – – – – ✕ Not held" in failing.text
    assert "no stretch of 5:00 stayed at or over 10,000 psi" in failing.text


def test_the_summary_gives_no_pressure_for_a_hold_that_did_not_pass(failing: Paper):
    assert "1 Annular on 5 in pipe 250–350 295.6 3,500 not held 5 min ✕ Not passed High hold: held 1:24" in failing.text


def test_leaks_and_remarks_are_printed_with_their_place(failing: Paper):
    leak = "Step 4, Lower pipe ram Leak seen. Drops at the bonnet seal, about one in ten seconds"
    assert leak in failing.text
    assert "Packing element worked three times before the retest." in failing.text
    assert "The whole test Bonnet opened after the test; seal replaced." in failing.text


def test_the_seal_stands_in_full_and_in_short_on_every_page(passing: Paper):
    assert examples.SEAL in passing.pages[0]
    assert all(f"SHA-256 {examples.SEAL[:16]}…" in page for page in passing.pages)


def test_every_page_carries_its_number_the_record_and_the_rig(failing: Paper):
    count = len(failing.pages)
    for place, page in enumerate(failing.pages, start=1):
        assert f"page {place} of {count}" in page
        assert "MERIDIAN-TERN-PT-000124 · record 124 · Meridian Tern" in page


def test_the_qr_code_on_the_paper_reads_as_the_verify_address(passing: Paper):
    image = pypdfium2.PdfDocument(passing.bytes)[0].render(scale=200 / 72).to_pil()
    assert [code.text for code in zxingcpp.read_barcodes(image)] == [examples.ADDRESS]
    assert examples.ADDRESS in passing.pages[0].replace("/verify/ ", "/verify/")


def test_the_verify_address_is_a_link(passing: Paper):
    links = [note.get_object() for note in passing.reader.pages[0]["/Annots"]]  # type: ignore[attr-defined]
    assert examples.ADDRESS in [link["/A"].get("/URI") for link in links if "/A" in link]


def test_instruments_show_their_calibration_and_one_out_of_date_is_flagged(passing: Paper):
    assert "CAL-25-1140 20 Nov 2025 20 Nov 2026 ✓ In date" in passing.text
    assert "CAL-25-0107 3 Feb 2025 3 Feb 2026 ✕ Calibration expired 3 Feb 2026, before this test" in passing.text


def test_an_instrument_out_of_calibration_is_noted_on_the_front(passing: Paper):
    assert "Note Pressure gauge PG-0093: calibration expired 3 Feb 2026, before this test." in passing.pages[0]


def test_an_instrument_without_a_due_date_is_said_to_have_none(printed: Printed):
    content = examples.typed()
    content["instruments"][0] |= {"in_date": None, "calibration_due_on": "", "calibrated_on": ""}
    assert "– – ? No calibration due date on file" in printed(content).text


def test_rules_say_whether_they_were_read_or_are_from_memory(passing: Paper):
    assert "From memory, not checked against the text." in passing.text
    row = passing.text[passing.text.index("30 CFR 250.737(a)(2)") :]
    assert "Read in the clause" in row[:300]


def test_a_working_is_printed_once_for_all_elements_it_holds_for(passing: Paper):
    assert passing.text.count("High test: 70 % of the annular's 5,000 psi = 3,500 psi") == 1
    assert passing.text.count("High test: the component's RWP 10,000 psi = 10,000 psi") == 1


def test_files_are_listed_with_their_hash(passing: Paper):
    kept = examples.passing()["files"][0]
    assert kept["file_name"] in passing.text
    assert kept["sha256"] in passing.text


def test_a_file_set_aside_says_so(printed: Printed):
    content = examples.typed()
    content["files"][0] |= {"withdrawn": True, "withdrawn_reason": "Another well's"}
    assert "Set aside: Another well's. No step rests on it." in printed(content).text


def test_signatures_show_name_role_and_time_on_the_rigs_clock(passing: Paper):
    for name, role in (("Ingrid Solbakken", "Equipment supervisor"), ("Adaeze Nwosu", "Lessee's representative")):
        assert re.search(rf"{name} {role} 14 Mar 2026, \d\d:\d\d UTC−5", passing.pages[0])


def test_readings_typed_in_are_marked_wherever_they_stand(typed: Paper):
    assert "1 step judged from readings typed in, no recorder file." in typed.pages[0]
    assert typed.text.count("Readings typed in, no recorder file.") == 2
    assert "The recorder lost its supply at 06:02; readings are from the chart." in typed.text


def test_a_metric_rig_reads_kilopascal_and_the_entered_unit_beside_it(typed: Paper):
    assert "10,000 psi (68,948 kPa)" in typed.text
    assert "≥ 68,947.6" in typed.text


def test_a_metric_rig_prints_on_a4_and_a_us_rig_on_letter(passing: Paper, typed: Paper):
    assert [round(float(side)) for side in passing.reader.pages[0].mediabox[2:]] == [612, 792]
    assert [round(float(side)) for side in typed.reader.pages[0].mediabox[2:]] == [595, 842]


def test_the_caution_stands_on_the_front_and_at_the_end(passing: Paper, failing: Paper):
    for paper in (passing, failing):
        assert "Local regulation, the maker’s manual and licensed practice prevail." in paper.pages[0]
        assert "local regulation, the maker’s manual and licensed practice prevail." in paper.pages[-1]


def test_a_correction_names_the_record_it_takes_the_place_of(printed: Printed):
    content = examples.typed()
    content["supersedes"] = {"number": 6, "sha256": examples.PREVIOUS, "reason": "The wrong serial was chosen."}
    assert "Takes the place of record 6" in printed(content).pages[0]
    assert "The wrong serial was chosen." in printed(content).pages[0]


def test_the_pdf_is_tagged_titled_and_in_english(passing: Paper):
    root = passing.reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] == True  # noqa: E712 - a PDF boolean, not Python's
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"] == True  # noqa: E712
    assert "/StructTreeRoot" in root
    assert b'pdfuaid:part="1"' in root["/Metadata"].get_object().get_data()


def test_each_plot_and_the_qr_code_has_its_words(passing: Paper):
    words = [str(text) for text in _alternatives(passing.reader.trailer["/Root"]["/StructTreeRoot"])]
    assert f"QR code of the address {examples.ADDRESS}" in words
    told = [text for text in words if text.startswith("Pressure over time of step")]
    assert len(told) == 8
    assert "The low hold lasts 5:00 minutes; its lowest pressure is 295.6 psi." in told[0]


def _alternatives(node: pypdf.generic.DictionaryObject) -> Iterator[str]:
    if "/Alt" in node:
        yield node["/Alt"]
    children = node.get("/K", [])
    for child in children if isinstance(children, list) else [children]:
        inner = child.get_object()
        if isinstance(inner, pypdf.generic.DictionaryObject):
            yield from _alternatives(inner)


def test_the_same_content_gives_the_same_bytes(typed: Paper, printed: Printed):
    assert printed(examples.typed()).bytes == typed.bytes


def test_one_step_takes_three_pages_and_eight_take_seven(passing: Paper, typed: Paper):
    assert len(typed.pages) == 3
    assert len(passing.pages) == 7


def test_forty_steps_are_all_there_and_heads_repeat(printed: Printed):
    paper = printed(examples.many_steps(40))
    for number in range(1, 41):
        assert f"Valve {number} S-{number}-V" in paper.text
    tables = [page for page in paper.pages if "✓ Passed" in page and "Line-up and elements proved" in page]
    assert len(tables) >= 4
    assert paper.text.count("Whole step") == 40


def test_no_step_is_cut_across_pages(printed: Printed):
    paper = printed(examples.many_steps(9))
    for page in paper.pages:
        assert page.count("Whole step") == page.count("High ≥ 10,000")


def test_long_remarks_wrap_and_lose_nothing(printed: Printed):
    content = examples.typed()
    words = [f"word{number}" for number in range(1500)]
    content["remarks"] = " ".join(words)
    content["steps"][0]["lines"][0]["remarks"] = "X" * 300
    paper = printed(content)
    assert len(paper.pages) > 3
    body = re.sub(
        r"Certificate of pressure test KESTREL.*?Kestrel Sound|SHA-256 \w+….*?page \d+ of \d+", "", paper.text
    )
    assert [word for word in words if not re.search(rf"\b{word}\b", body)] == []
    assert paper.text.replace(" ", "").count("X" * 300) == 1


def test_nothing_is_drawn_past_the_edge_of_the_paper(printed: Printed):
    content = examples.failing()
    content["steps"][0]["name"] = "N" * 80
    content["steps"][0]["lines"][0]["element"] = "E" * 60
    content["signatures"][0]["name"] = "W" * 120
    content["rig"]["name"] = "R" * 80
    pdf = pypdfium2.PdfDocument(printed(content).bytes)
    for page in pdf:
        width = page.get_width()
        text = page.get_textpage()
        boxes = [text.get_charbox(place) for place in range(text.count_chars())]
        assert all(left >= 0 and right <= width for left, _bottom, right, _top in boxes)


ODD = '<script>alert(1)</script> <img src="file:///etc/hostname"> & "quotes" {{ 7 }} {% now %} √ Ω ж é 鑽'


def test_odd_characters_are_printed_as_they_are(printed: Printed):
    content = examples.typed()
    content["remarks"] = ODD
    content["rig"]["name"] = "<b>Rig</b> & Sons"
    pdf = pypdfium2.PdfDocument(printed(content).bytes)
    text = " ".join(" ".join(page.get_textpage().get_text_range() for page in pdf).split())
    assert "<script>alert(1)</script>" in text
    assert '<img src="file:///etc/hostname"> & "quotes" {{ 7 }} {% now %}' in text
    assert "<b>Rig</b> & Sons" in text
    assert "√ Ω ж é 鑽" in text


def test_a_character_that_turns_the_reading_order_is_made_visible(printed: Printed):
    content = examples.typed()
    content["remarks"] = "held \u202e000,3 psi\u202c\x07"
    assert "held \ufffd000,3 psi\ufffd\ufffd" in printed(content).text


def test_odd_characters_in_names_reach_no_mark_up(printed: Printed):
    content = examples.typed()
    content["steps"][0]["name"] = ODD[:80]
    content["files"][0]["file_name"] = '"><svg onload=x>.csv'
    assert '"><svg onload=x>.csv' in printed(content).text


def test_the_number_is_short_plain_and_tells_the_record():
    content = examples.passing()
    assert number_of(content) == "MERIDIAN-TERN-PT-000123"
    odd = copy.deepcopy(content)
    odd["rig"]["name"] = "Ørsta & Señal / Nº 4"
    assert re.fullmatch(r"[A-Z0-9-]+-PT-000123", number_of(odd))
    odd["rig"]["name"] = "鑽井"
    assert number_of(odd) == "RIG-PT-000123"


def test_the_title_follows_the_verdict():
    assert title_of(examples.passing()) == "Certificate of pressure test"
    assert title_of(examples.failing()) == "Report of pressure test — not passed"


def test_no_address_but_one_that_holds_its_content_is_fetched(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(
        "tests_app.documents.certificate.qr_code", lambda address: "https://wellhold.example/elsewhere.svg"
    )
    with pytest.raises(FatalURLFetchingError):
        render(examples.typed(), sha256=examples.SEAL, verify_address=examples.ADDRESS)


def test_alarms_stand_on_the_first_page_and_notes_beside_their_step(printed: Printed):
    content = examples.passing()
    content["alarms"] = ["Annular: tested to 3,500 psi, below the MASP of 8,093.8 psi."]
    content["steps"][0]["notes"] = ["The high pressure fell steadily, 154 psi/min, and did not settle."]
    paper = printed(content)
    assert "Annular: tested to 3,500 psi, below the MASP of 8,093.8 psi." in paper.pages[0]
    assert paper.text.count("fell steadily, 154 psi/min") == 2


def test_what_was_installed_and_is_not_proven_is_named_with_its_last_proof(passing: Paper):
    assert "Installed and not proven by this test: 2 components, listed on page 3" in passing.pages[0]
    assert "Connector Connector WC-0051 1 Mar 2026, record 118" in passing.text
    assert "Gas bleed valve Gate valve, hydraulic GB-0210 No passing test on file" in passing.text
    assert "proved by other tests than a pressure hold: Casing-shear ram (CS-0044)" in passing.text


def test_what_failed_since_its_last_proof_or_here_does_not_look_proved(printed: Printed):
    content = examples.passing()
    since = {"record": 121, "concluded_at": examples.moment(examples.BEGUN)}
    content["unproven"][0]["failed_since"] = since
    content["unproven"][1]["failed_here"] = True
    text = printed(content).text
    assert "1 Mar 2026, record 118 ✕ Not passed on 14 Mar 2026, record 121" in text
    assert "No passing test on file ✕ Left not passed by this test" in text


def test_a_test_of_the_whole_stack_says_so_and_an_old_seal_says_nothing(printed: Printed):
    whole = printed({**examples.passing(), "unproven": []}).text
    assert "every component installed on the stack that a pressure hold proves is proved" in whole
    old = {key: value for key, value in examples.passing().items() if key != "unproven"}
    assert "not proven by this test" not in printed(old).text
