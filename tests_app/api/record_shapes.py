"""What a record and its parts show."""

from rest_framework import serializers

from equipment.api.shapes import shown
from tests_app.models import (
    Certificate,
    DrawdownFunction,
    DrawdownTest,
    FunctionLine,
    FunctionTest,
    InstrumentUse,
    Line,
    PressureTest,
    PumpReading,
    PumpTest,
    Recharge,
    Record,
    Recording,
    Signature,
    Step,
    TypedReading,
)

_ENVELOPE = (
    *("id", "rig", "stack", "section", "kind", "number", "edition", "started_at", "concluded_at", "remarks"),
    *("version", "supersedes", "supersedes_reason", "discarded_at", "discarded_reason", "frozen_at", "sealed_at"),
    *("passed", "sha256", "previous_sha256"),
)
_PIPE_AND_POD = ("pipe_in_hole", "control_station", "pod")

RecordListed = shown(Record, *_ENVELOPE, name="RecordListed")
TypedReadingShown = shown(
    TypedReading, "phase", "start_at", "end_at", "start_pressure", "end_pressure", "highest_before", "reason"
)
LineShown = shown(
    Line,
    *("id", "step", "position", "component", "component_as_tested", "pressure_from", "required_low_min"),
    *("required_low_max", "required_high", "hold_seconds", "low_hold_seconds", "clause", "working", "rules"),
    *("leak_seen", "leak_description", "outcome", "remarks"),
)
RecordingShown = shown(
    Recording,
    *("id", "record", "step", "kind", "file_name", "sha256", "size", "content_type", "channel", "facts"),
    *("received_at", "withdrawn_at", "withdrawn_reason"),
    awaits_channel=serializers.BooleanField(help_text="Which of its columns is the pressure has still to be said."),
)
StepShown = shown(
    Step,
    *("id", "record", "order", "name", "pump_point", "limits", "evidence", "recording", "proposed_marks"),
    *("chosen_marks", "verdict", "outcome", "concluded_at", "retest_of", "remarks"),
    lines=LineShown(many=True),
    typed_readings=TypedReadingShown(many=True),
    recordings=RecordingShown(many=True),
)
SignatureShown = shown(Signature, "id", "record", "name", "role", "signed_at", "sha256")
CertificateShown = shown(Certificate, "id", "record", "kind", "number", "issued_at", "sha256", "size")
InstrumentUseShown = shown(InstrumentUse, "instrument", "as_used")
PressureHeadingShown = shown(
    PressureTest,
    "reason",
    "fluid",
    "barrier",
    *_PIPE_AND_POD,
    "pump_operator",
    "plan_reference",
    name="PressureHeading",
)
DrawdownHeadingShown = shown(
    DrawdownTest,
    *("bank", "reason", *_PIPE_AND_POD, "operator", "precharge_check", "gas_temperature", "start_pressure"),
    *("start_settled", "electric_pumps_isolated", "air_pumps_isolated", "isolation_confirmed_by", "wait_seconds"),
    *("judged_state", "bank_as_tested", "verdict", "outcome"),
    name="DrawdownHeading",
)
PumpHeadingShown = shown(
    PumpTest, "bank", "reason", "operator", "bank_as_tested", "verdict", "outcome", name="PumpHeading"
)
FunctionHeadingShown = shown(
    FunctionTest,
    *("reason", "pipe_in_hole", "manifold_pressure", "annular_pressure", "operator", "confirmed", "outcome"),
    name="FunctionHeading",
)
DrawdownFunctionShown = shown(
    DrawdownFunction,
    *("id", "record", "order", "name", "movement", "position", "component", "component_as_tested", "volume"),
    *("volume_from", "minimum_pressure", "minimum_working", "limits", "seconds", "pressure_at_once"),
    *("pressure_settled", "proposed", "remarks"),
)
RechargeShown = shown(
    Recharge,
    *("id", "record", "order", "pumps", "pump_out", "from_pressure", "to_pressure", "seconds", "limits"),
    *("verdict", "outcome", "remarks"),
)
PumpReadingShown = shown(
    PumpReading,
    *("id", "record", "pump", "duty", "drive", "starts_at", "stops_at", "air_supply", "limits", "outcome", "remarks"),
)
FunctionLineShown = shown(
    FunctionLine,
    *("id", "record", "order", "position", "component", "control_item", "subject_as_tested", "controls_as_used"),
    *("worked", "station", "pod", "closed_on", "pipe", "closing_time", "opening_time", "closing_volume"),
    *("opening_volume", "counter_before", "counter_between", "counter_after", "completed", "leak_seen"),
    *("leak_description", "retest_of", "verdict", "outcome", "remarks"),
)


class RecordShown(RecordListed):  # type: ignore[misc, valid-type]
    """A test as done, from draft to seal, with its heading, instruments and signatures."""

    pressure_test = PressureHeadingShown(allow_null=True)
    drawdown_test = DrawdownHeadingShown(allow_null=True)
    pump_test = PumpHeadingShown(allow_null=True)
    function_test = FunctionHeadingShown(allow_null=True)
    instruments = InstrumentUseShown(many=True, source="instrument_uses")
    signatures = SignatureShown(many=True)

    class Meta(RecordListed.Meta):  # type: ignore[name-defined]
        fields = (
            *_ENVELOPE,
            *("pressure_test", "drawdown_test", "pump_test", "function_test", "instruments", "signatures"),
        )
