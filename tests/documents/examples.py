"""Invented sealed contents to print: a surface stack tested whole, one left not passed, one typed in."""

import itertools
import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from tests_app.documents.content import Content

ZONE = "America/Chicago"
SEAL = "9f2c4e1b7a60d85339e1c0aa47b8d2f16e05b93c7d41f8a2066b5ed3c19478fa"
PREVIOUS = "03b1f7d2c9e845a6107df3be52c86a94f0e1d7738b25ac6094de31f5a87b6c12"
ADDRESS = f"https://wellhold.example/verify/{SEAL}/"
BEGUN = datetime(2026, 3, 14, 5, 40, tzinfo=ZoneInfo(ZONE))
CLAUSE_RAM = "30 CFR 250.737(b)(2)"
CLAUSE_ANNULAR = "30 CFR 250.737(b)(3)"
PSI_IN_KPA = 6.894757293168361

BELOW = {"key": "below", "text": "From below"}
WELL_SIDE = {"key": "well-side", "text": "From the well side"}
FAR_SIDE = {"key": "far-side", "text": "From the far side"}
PASSED = {"key": "passed", "text": "Passed"}
FAILED = {"key": "failed", "text": "Not passed"}
SAMPLES = {"key": "samples", "text": "Recorder file"}


def psi(value: float | str) -> dict[str, Any]:
    return {"value": value, "unit": "psi"}


def moment(at: datetime) -> dict[str, str]:
    return {"utc": at.astimezone(ZoneInfo("UTC")).strftime("%Y-%m-%dT%H:%M:%SZ"), "local": at.isoformat()}


def component(kind: str, serial: str, rated: str = "10000", bore: str = "13.625") -> dict[str, Any]:
    return {
        "kind": kind,
        "serial": serial,
        "maker": "",
        "model": "",
        "nominal_bore": {"value": bore, "unit": "in"},
        "rated_working_pressure": psi(rated),
        "closes_on": "",
    }


def line(element: str, kind: str, serial: str, *, side: dict[str, str] = BELOW, high: str = "10000") -> dict[str, Any]:
    annular = kind == "Annular preventer"
    rated = "5000" if annular else "10000"
    share = f"70 % of the annular's {int(rated):,} psi" if annular else f"the component's RWP {int(rated):,} psi"
    return {
        "element": element,
        "component": component(kind, serial, rated),
        "pressure_from": side,
        "required_low_min": psi("250"),
        "required_low_max": psi("350"),
        "required_high": psi(high),
        "hold_s": 300,
        "clause": CLAUSE_ANNULAR if annular else CLAUSE_RAM,
        "confidence": "memory",
        "working": [
            f"High test: {share} = {int(high):,} psi",
            "Weakest part exposed: wellhead, 10,000 psi; the high test stays at or under it.",
            "Low test: 250 to 350 psi, before the high test.",
        ],
        "leak_seen": False,
        "leak_description": "",
        "outcome": PASSED,
        "proved_by_retest": None,
        "remarks": "",
    }


def curve(high: float, *, low: float = 305.0, leak: float = 0.0) -> dict[str, Any]:
    """A step as a recorder would have it: up to the low hold, bled, up to the high hold, bled. A sample every 2 s."""
    marks = [(0, 0), (40, 0), (75, low + 14), (120, low), (480, low - 6), (500, 2), (560, 2), (690, high * 1.016)]
    marks += [(740, high * 1.0055), (1110, high * 1.0042 - leak), (1150, 4), (1200, 0)]
    times = [float(second) for second in range(0, 1201, 2)]
    return {"unit": "psi", "t": times, "p": [round(_between(marks, at) + _ripple(at), 1) for at in times]}


def _between(marks: Sequence[tuple[float, float]], at: float) -> float:
    for (t1, p1), (t2, p2) in itertools.pairwise(marks):
        if t1 <= at <= t2:
            return p1 + (p2 - p1) * (at - t1) / (t2 - t1)
    return marks[-1][1]


def _ripple(at: float) -> float:
    return max(0.0, 0.7 * math.sin(at / 7.0) + 0.5 * math.sin(at / 2.3)) if at > 60 else 0.0


def hold(found: dict[str, Any], start: float, end: float, *, begun: datetime | None = BEGUN) -> dict[str, Any]:
    inside = [p for t, p in zip(found["t"], found["p"], strict=True) if start <= t <= end]
    peak, decay = inside[0], 0.0
    for pressure in inside:
        peak = max(peak, pressure)
        decay = max(decay, peak - pressure)
    return {
        "passes": True,
        "start_s": start,
        "end_s": end,
        "start_at": moment(begun + timedelta(seconds=start)) if begun else None,
        "end_at": moment(begun + timedelta(seconds=end)) if begun else None,
        "duration_s": end - start,
        "start_pressure": psi(inside[0]),
        "end_pressure": psi(inside[-1]),
        "min_pressure": psi(min(inside)),
        "max_pressure": psi(max(inside)),
        "decay": psi(decay),
        "decay_rate": {"value": decay / (end - start) * 60, "unit": "psi/min"},
        "highest_before": None,
        "reasons": [],
    }


def step(order: int, name: str, lines: list[dict[str, Any]], *, high: str = "10000") -> dict[str, Any]:
    begun = BEGUN + timedelta(minutes=24 * order)
    found = curve(float(high), low=298.0 + 3 * (order % 5))
    low = hold(found, 150, 450, begun=begun)
    low["highest_before"] = psi(max(p for t, p in zip(found["t"], found["p"], strict=True) if t < 150))
    return {
        "order": order,
        "name": name,
        "pump_point": "the test plug, below the stack",
        "evidence": {"key": "recording", "text": "Recorder file"},
        "typed_reason": "",
        "recording": "2026-03-14 stack test.csv",
        "marks": {"proposed": [0.0, 1200.0], "chosen": [0.0, 1200.0]},
        "limits": {
            "low_min": psi("250"),
            "low_max": psi("350"),
            "restart_above": psi("500"),
            "high_target": psi(high),
            "high_max": None,
            "hold_s": 300,
            "max_decay": None,
            "max_gap_s": None,
        },
        "low": low,
        "high": hold(found, 790, 1090, begun=begun),
        "curve": found,
        "outcome": PASSED,
        "concluded_at": moment(begun + timedelta(seconds=1090)),
        "retest_of": None,
        "retests": [],
        "remarks": "",
        "lines": lines,
    }


def surface_steps() -> list[dict[str, Any]]:
    """Eight line-ups proving twenty-five lines of a jack-up's surface stack."""
    valve, manifold = "Gate valve, manual", "Gate valve, manual"
    return [
        step(
            1,
            "Annular on 5 in pipe",
            [
                line("Annular", "Annular preventer", "AN-1182", high="3500"),
                line("Kill valve outer", "Kill line valve", "KV-0412", side=WELL_SIDE, high="3500"),
                line("Choke valve outer, hydraulic", "Choke line valve", "CV-0771", side=WELL_SIDE, high="3500"),
            ],
            high="3500",
        ),
        step(
            2,
            "Upper pipe ram on 5 in pipe",
            [
                line("Upper pipe ram", "Variable-bore ram", "VR-2207"),
                line("Kill valve outer", "Kill line valve", "KV-0412", side=WELL_SIDE),
                line("Kill valve inner", "Kill line valve", "KV-0413", side=WELL_SIDE),
                line("Manifold valve 1", manifold, "MV-01", side=WELL_SIDE),
                line("Manifold valve 2", manifold, "MV-02", side=WELL_SIDE),
                line("Manifold valve 3", manifold, "MV-03", side=WELL_SIDE),
            ],
        ),
        step(
            3,
            "Upper pipe ram, choke side",
            [
                line("Choke valve inner", "Choke line valve", "CV-0770", side=WELL_SIDE),
                line("Manifold valve 4", manifold, "MV-04", side=WELL_SIDE),
                line("Manifold valve 5", manifold, "MV-05", side=WELL_SIDE),
            ],
        ),
        step(
            4,
            "Lower pipe ram on 5 in pipe",
            [
                line("Lower pipe ram", "Pipe ram", "PR-3310"),
                line("Manifold valve 6", manifold, "MV-06", side=WELL_SIDE),
                line("Manifold valve 7", manifold, "MV-07", side=WELL_SIDE),
                line("Kill line check valve", "Check valve", "CK-118", side=FAR_SIDE),
            ],
        ),
        step(5, "Blind-shear ram", [line("Blind-shear ram", "Blind-shear ram", "BS-0906")]),
        step(
            6,
            "Standpipe manifold",
            [
                line("Standpipe valve 1", "Standpipe valve", "SV-11", side=FAR_SIDE),
                line("Standpipe valve 2", "Standpipe valve", "SV-12", side=FAR_SIDE),
                line("Standpipe valve 3", valve, "SV-13", side=FAR_SIDE),
            ],
        ),
        step(
            7,
            "Top drive valves",
            [
                line("Upper top-drive valve", "Kelly or top-drive valve", "TD-201"),
                line("Lower top-drive valve", "Kelly or top-drive valve", "TD-202"),
            ],
        ),
        step(
            8,
            "Drill string valves",
            [
                line("Safety valve, 5 in", "Drill string safety valve", "FO-77"),
                line("Safety valve, 4 in", "Drill string safety valve", "FO-78"),
                line("Inside BOP", "Inside BOP", "IB-31"),
            ],
        ),
    ]


def content(steps: list[dict[str, Any]], **changed: Any) -> Content:
    """A whole record around the steps."""
    concluded = BEGUN + timedelta(minutes=24 * (len(steps) + 1))
    whole: dict[str, Any] = {
        "form": "pressure-test/1",
        "number": 123,
        "kind": {"key": "pressure", "text": "Pressure test"},
        "rig": {"name": "Meridian Tern", "kind": "Jack-up", "time_zone": ZONE, "display_units": "us"},
        "stack": {"name": "13 5/8 in 10k surface stack", "kind": {"key": "surface", "text": "Surface stack"}},
        "section": {
            "well": "Halyard 7",
            "name": "12 1/4 in section",
            "masp": psi("6420"),
            "masp_basis": "Worked out from the section's figures",
            "masp_margin_approval": "",
        },
        "heading": {
            "reason": {"key": "interval", "text": "Interval"},
            "fluid": {"key": "water", "text": "Water"},
            "barrier": {"key": "plug", "text": "Test plug"},
            "pipe_in_hole": {"value": "5", "unit": "in"},
            "control_station": {"key": "drill-floor", "text": "Drill floor"},
            "pod": None,
            "pump_operator": "Tobias Anker",
            "plan_reference": "TP-0042 rev. 3",
        },
        "edition": {
            "id": "us-ocs",
            "title": "30 CFR 250 Subpart G",
            "in_force_from": "2019-07-15",
            "note": "Figures marked from memory are to be checked against the text before they are relied on.",
        },
        "rules": [
            {
                "clause": "30 CFR 250.737(b)(1)",
                "text": "Low test of 250 to 350 psi before the high test of the same component; over 500 psi before "
                "it, bleed to zero and start again.",
                "confidence": "memory",
            },
            {
                "clause": CLAUSE_RAM,
                "text": "High test of rams, manifold and valves: the rated working pressure of the component, or "
                "MASP plus 500 psi where that is approved.",
                "confidence": "memory",
            },
            {"clause": CLAUSE_ANNULAR, "text": "High test of annulars: 70 % of RWP.", "confidence": "memory"},
            {
                "clause": "30 CFR 250.737(a)(2)",
                "text": "Again before midnight at the end of the 14th day after the conclusion of this test.",
                "confidence": "read",
            },
        ],
        "started_at": moment(BEGUN),
        "concluded_at": moment(concluded),
        "sealed_at": moment(concluded + timedelta(minutes=35)),
        "passed": True,
        "open_lines": [],
        "steps": steps,
        "unproven": [
            unproven("Connector", "Connector", "WC-0051", last=(118, BEGUN - timedelta(days=13))),
            unproven("Gas bleed valve", "Gate valve, hydraulic", "GB-0210", last=None),
            unproven("Casing-shear ram", "Casing-shear ram", "CS-0044", last=None, by_hold=False),
        ],
        "instruments": [
            {
                "kind": "Digital recorder",
                "serial": "DR-5520",
                "maker": "",
                "model": "Two-channel",
                "range_low": psi("0"),
                "range_high": psi("15000"),
                "accuracy_percent": "0.1",
                "chart_hours": "",
                "calibrated_on": "2025-11-20",
                "calibration_due_on": "2026-11-20",
                "certificate_number": "CAL-25-1140",
                "in_date": True,
            },
            {
                "kind": "Pressure gauge",
                "serial": "PG-0093",
                "maker": "",
                "model": "",
                "range_low": None,
                "range_high": psi("1000"),
                "accuracy_percent": "0.5",
                "chart_hours": "",
                "calibrated_on": "2025-02-03",
                "calibration_due_on": "2026-02-03",
                "certificate_number": "CAL-25-0107",
                "in_date": False,
            },
        ],
        "files": [
            {
                "file_name": "2026-03-14 stack test.csv",
                "kind": SAMPLES,
                "sha256": "5b0c7f12de93a4486bb1f07ac2e95d3881f6402bc7a9de15034f8e6671ad29c0",
                "size": 412_884,
                "received_at": moment(concluded + timedelta(minutes=4)),
                "facts": "12,960 samples, 1 s apart, psi, 3 h 36 min",
                "steps": [each["order"] for each in steps],
                "withdrawn": False,
            }
        ],
        "remarks": "",
        "signatures": [
            signature("Ingrid Solbakken", "supervisor", "Equipment supervisor", concluded + timedelta(minutes=12)),
            signature("Tobias Anker", "pump-operator", "Pump operator", concluded + timedelta(minutes=19)),
            signature("Marcus Feld", "contractor", "Contractor's representative", concluded + timedelta(minutes=27)),
            signature("Adaeze Nwosu", "lessee", "Lessee's representative", concluded + timedelta(minutes=35)),
        ],
        "supersedes": None,
        "previous_sha256": PREVIOUS,
        "rows": {"columns": {}, "sha256": ""},
        "software": "Wellhold 0.1.0",
    }
    whole.update(changed)
    return whole  # type: ignore[return-value]


def unproven(
    position: str, kind: str, serial: str, *, last: tuple[int, datetime] | None, **facts: Any
) -> dict[str, Any]:
    return {
        "position": position,
        "kind": kind,
        "serial": serial,
        "by_hold": True,
        "failed_here": False,
        "last_proved": {"record": last[0], "concluded_at": moment(last[1])} if last else None,
        "failed_since": None,
        **facts,
    }


def signature(name: str, key: str, role: str, at: datetime) -> dict[str, Any]:
    return {"name": name, "role": {"key": key, "text": role}, "signed_at": moment(at), "signed_sha256": SEAL[::-1]}


def passing() -> Content:
    """Eight steps, twenty-five lines, all passed, nothing unusual but one gauge out of date."""
    return content(surface_steps())


def failing() -> Content:
    """The lower pipe ram leaks and is not proved again; the annular fails once and passes its retest."""
    steps = surface_steps()
    first = steps[0]
    first["outcome"], first["retests"] = FAILED, [9]
    first["curve"] = curve(3500.0, leak=75.0)
    first["high"] = {
        **hold(first["curve"], 740, 824, begun=BEGUN + timedelta(minutes=24)),
        "passes": False,
        "reasons": ["held 1:24 of the 5:00 required; it fell under 3,500 psi after 84 s."],
    }
    for each in first["lines"]:
        each["outcome"], each["proved_by_retest"] = FAILED, 9
    lower = steps[3]
    lower["outcome"] = FAILED
    lower["lines"][0] |= {
        "outcome": FAILED,
        "leak_seen": True,
        "leak_description": "Drops at the bonnet seal, about one in ten seconds, during the high hold.",
    }
    lower["high"] = dict.fromkeys(lower["high"]) | {
        "passes": False,
        "reasons": ["no stretch of 5:00 stayed at or over 10,000 psi; the longest lasted 2:08."],
    }
    lower["curve"] = curve(9940.0, leak=120.0)
    for each in lower["lines"][1:]:
        each["outcome"] = FAILED
    again = step(9, "Annular on 5 in pipe, retest", surface_steps()[0]["lines"], high="3500")
    again["retest_of"] = 1
    again["remarks"] = "Packing element worked three times before the retest."
    opened = [
        {"step": 4, "element": each["element"], "pressure_from": each["pressure_from"]["text"], "why": why}
        for each, why in zip(
            lower["lines"],
            [
                "Leak seen at the bonnet seal, and high hold not met",
                *["High hold not met: the step fell under 10,000 psi"] * 3,
            ],
            strict=True,
        )
    ]
    return content(
        [*steps, again],
        number=124,
        passed=False,
        open_lines=opened,
        remarks="Bonnet opened after the test; seal replaced. The ram is to be tested before it is relied on.",
    )


def typed() -> Content:
    """A metric rig whose recorder failed: one step from a paper chart, read by eye."""
    one = step(1, "Inside BOP on the bench", [line("Inside BOP", "Inside BOP", "IB-31")])
    one |= {"evidence": {"key": "typed", "text": "Readings typed in"}, "curve": None, "recording": ""}
    one["typed_reason"] = "The recorder lost its supply at 06:02; readings are from the chart."
    one["marks"] = {"proposed": None, "chosen": None}
    for name in ("low", "high"):
        one[name] |= {"start_s": None, "end_s": None, "decay_rate": None}
    chart = {
        "file_name": "chart 14 March.jpg",
        "kind": {"key": "chart", "text": "Scan or photo of a paper chart"},
        "sha256": "c81d09e62b7fa3541c90d7e80b62f3a95e4417db08c2fa66b1d539e07482fc1e",
        "size": 2_188_034,
        "received_at": moment(BEGUN + timedelta(hours=2)),
        "facts": "",
        "steps": [1],
        "withdrawn": False,
    }
    metric = {"name": "Kestrel Sound", "kind": "Semi-submersible", "time_zone": ZONE, "display_units": "si"}
    return content([one], rig=metric, number=7, files=[chart], section=None, previous_sha256="")


def many_steps(count: int) -> Content:
    """A test of many steps, each with three lines."""
    names = ("Annular", "Upper ram", "Valve")
    steps = [
        step(n, f"Line-up {n}", [line(f"{name} {n}", "Pipe ram", f"S-{n}-{name[0]}") for name in names])
        for n in range(1, count + 1)
    ]
    return content(steps)
