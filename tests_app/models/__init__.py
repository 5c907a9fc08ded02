"""What must be proven, by when, and what was proven."""

from tests_app.models.alert_settings import AlertSettings
from tests_app.models.calendars import CalendarEntry, FeedToken
from tests_app.models.certificates import Certificate, CertificateKind
from tests_app.models.completions import Completion
from tests_app.models.deferrals import Deferral, Postponement
from tests_app.models.drawdowns import (
    DrawdownFunction,
    DrawdownTest,
    GasState,
    Movement,
    PumpDrive,
    PumpDuty,
    PumpReading,
    PumpsRunning,
    PumpTest,
    Recharge,
    VolumeFrom,
)
from tests_app.models.editions import EditionText
from tests_app.models.function_tests import ClosedOn, FunctionLine, FunctionTest, Worked
from tests_app.models.notices import Channel, Closing, Delivery, Digest, Message, Notice, Purpose, SweepMark
from tests_app.models.obligations import CountsAs, Obligation, PartOfSystem, Reckoning, What
from tests_app.models.pressure_tests import (
    Barrier,
    ControlStation,
    Evidence,
    HoldPhase,
    InstrumentUse,
    Line,
    Outcome,
    Pod,
    PressureFrom,
    PressureTest,
    Step,
    TestFluid,
    TestReason,
    TypedReading,
)
from tests_app.models.programmes import Programme, ProgrammeCopy
from tests_app.models.recordings import Recording, RecordingKind
from tests_app.models.records import Record, RecordKind
from tests_app.models.signatures import Signature, SigningRole

__all__ = [
    "AlertSettings",
    "Barrier",
    "CalendarEntry",
    "Certificate",
    "CertificateKind",
    "Channel",
    "ClosedOn",
    "Closing",
    "Completion",
    "ControlStation",
    "CountsAs",
    "Deferral",
    "Delivery",
    "Digest",
    "DrawdownFunction",
    "DrawdownTest",
    "EditionText",
    "Evidence",
    "FeedToken",
    "FunctionLine",
    "FunctionTest",
    "GasState",
    "HoldPhase",
    "InstrumentUse",
    "Line",
    "Message",
    "Movement",
    "Notice",
    "Obligation",
    "Outcome",
    "PartOfSystem",
    "Pod",
    "Postponement",
    "PressureFrom",
    "PressureTest",
    "Programme",
    "ProgrammeCopy",
    "PumpDrive",
    "PumpDuty",
    "PumpReading",
    "PumpTest",
    "PumpsRunning",
    "Purpose",
    "Recharge",
    "Reckoning",
    "Record",
    "RecordKind",
    "Recording",
    "RecordingKind",
    "Signature",
    "SigningRole",
    "Step",
    "SweepMark",
    "TestFluid",
    "TestReason",
    "TypedReading",
    "VolumeFrom",
    "What",
    "Worked",
]
