"""The line-up sheet of a plan: a block a step, with its drawing, what is closed and open, and boxes to fill by hand."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from django.template.loader import render_to_string
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher

from calcs.units import System
from tests_app.documents import figures
from tests_app.documents.certificate import PAGE_SIZES, printable, svg_address
from tests_app.documents.content import Quantity
from tests_app.documents.due_sheet import moment_on_paper
from tests_app.documents.line_up_drawing import step_on_paper
from tests_app.documents.line_up_facts import ProofRow, StepFacts, facts_of, proof_row
from tests_app.models import LineUpPlan
from tests_app.queries.line_up_plans import SeenPlan

PAPERS: Final = PAGE_SIZES
"""The paper usual where people read those units."""
NOTHING: Final = "nothing"


def print_line_ups(found: SeenPlan, summary: str, *, outdated: str, units: System, paper: str, at: datetime) -> bytes:
    """Return the sheet of a plan as a PDF (tagged, PDF/UA-1) on `paper`, A4 or letter, as of `at`."""
    context = printable({**_front(found, summary, outdated, units, at), "page_size": paper})
    context["steps"] = [_block(found, facts, units) for facts in facts_of(found)]
    fonts = FontConfiguration()
    inside_only = URLFetcher(allowed_protocols=["data"], allow_redirects=False, fail_on_errors=True)
    page = HTML(string=render_to_string("documents/line_up_sheet.html", context), url_fetcher=inside_only)
    css = render_to_string("documents/line_up_sheet.css", context)
    style = CSS(string=css, font_config=fonts, url_fetcher=inside_only)
    pdf: bytes = page.write_pdf(stylesheets=[style], font_config=fonts, pdf_variant="pdf/ua-1")
    return pdf


def _front(found: SeenPlan, summary: str, outdated: str, units: System, at: datetime) -> dict[str, Any]:
    plan = found.plan
    zone = plan.rig.zone
    return {
        "rig": plan.rig.name,
        "number": plan.number,
        "title": "Leak search" if plan.finds_leak else "Line-up sheet",
        "summary": summary,
        "because": plan.because if found.is_fewest else "",
        "facts": _facts(plan, moment_on_paper(plan.made_at, zone)),
        "as_of": moment_on_paper(at, zone),
        "outdated": outdated,
        "unproved": [] if plan.finds_leak else [_proof(proof_row(copy), units) for copy in found.unproved],
        "unprovable": [{**_proof(proof_row(copy), units), "why": why} for copy, why in found.unprovable],
        "last_close": list(found.last_moves.close),
        "last_open": list(found.last_moves.open),
        "told": plan.told_apart or {},
    }


def _facts(plan: LineUpPlan, made: str) -> list[tuple[str, str]]:
    return [
        ("Stack", plan.stack.name),
        ("Well and section", str(plan.section) if plan.section else "On the test stump"),
        ("Reason", str(plan.get_reason_display())),
        ("Plug or cup", str(plan.get_barrier_display())),
        ("Rules", plan.edition),
        ("Planned", f"{made}, by {plan.made_by.name_shown}"),
    ]


def _block(found: SeenPlan, facts: StepFacts, units: System) -> dict[str, Any]:
    step, row = facts.seen, facts.seen.row
    kept: Quantity = {"value": row.pressure.text, "unit": row.pressure.unit}
    words = {
        "order": row.order,
        "name": facts.name,
        "pump_point": row.pump_point,
        "pipe": facts.pipe,
        "changes_pipe": step.changes_pipe,
        "high": figures.entered(kept, units),
        "low": _low(step.limits, units),
        "hold": _hold(step.limits),
        "faults": list(step.faults),
        "close": list(step.moves.close),
        "open": list(step.moves.open),
        "all_closed": ", ".join(facts.closed) or NOTHING,
        "all_open": ", ".join(facts.open) or NOTHING,
        "pressurised": ", ".join(name for name in found.system.cavities if name in step.shown.pressurised),
        "proves": [_proof(proof, units) for proof in facts.proves if not proof.again],
        "again": ", ".join(f"{proof.element} {proof.side}" for proof in facts.proves if proof.again),
    }
    shown: dict[str, Any] = printable(words)
    room = _room(words)
    # The drawing is no text: it goes in as it is, its names escaped where it was drawn.
    return {**shown, "room": room, "drawing": svg_address(str(step_on_paper(found.plan, step, room)))}


def _room(words: Mapping[str, Any]) -> int:
    """Return the height left for the drawing of a step on its page, mm, reckoned from what else stands there."""
    texts = (words["all_closed"], words["all_open"], words["pressurised"], words["again"], " ".join(words["faults"]))
    lines = sum(1 + len(text) // _LETTERS for text in texts)
    rows = max(len(words["close"]), len(words["open"]), 1)
    left = _PAGE_MM - lines * 4.4 - rows * 4.4 - len(words["proves"]) * 5.6
    return int(min(_TALLEST_MM, max(_LEAST_MM, left)))


_PAGE_MM: Final = 195.0
"""What head, measures and the boxes to fill by hand leave of a Letter page, the lower of the two."""
_TALLEST_MM: Final = 125.0
_LEAST_MM: Final = 35.0
_LETTERS: Final = 105
"""Letters in a line."""


def _low(limits: Mapping[str, Any] | None, units: System) -> str:
    if limits is None or not limits["low"]:
        return "No low test asked"
    low = limits["low"]
    return f"{figures.entered(low['min'], units)} to {figures.entered(low['max'], units)}"


def _hold(limits: Mapping[str, Any] | None) -> str:
    if limits is None:
        return figures.ABSENT
    hold, other = limits["hold"]["value"], limits["hold_unrecorded"]["value"]
    said = figures.minutes(hold)
    return said if hold == other else f"{said} by a recorder in calibration, else {figures.minutes(other)}"


def _proof(row: ProofRow, units: System) -> dict[str, str]:
    return {
        "element": row.element,
        "side": row.side,
        "high": figures.entered(row.high, units),  # type: ignore[arg-type] # kept as contents keep it
        "clause": row.clause,
    }
