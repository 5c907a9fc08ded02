"""What must be proven, by when, and what was proven."""

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
from tests_app.models.obligations import Obligation, PartOfSystem, Reckoning, What
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
    "Barrier",
    "Certificate",
    "CertificateKind",
    "ClosedOn",
    "Completion",
    "ControlStation",
    "Deferral",
    "DrawdownFunction",
    "DrawdownTest",
    "EditionText",
    "Evidence",
    "FunctionLine",
    "FunctionTest",
    "GasState",
    "HoldPhase",
    "InstrumentUse",
    "Line",
    "Movement",
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
    "Recharge",
    "Reckoning",
    "Record",
    "RecordKind",
    "Recording",
    "RecordingKind",
    "Signature",
    "SigningRole",
    "Step",
    "TestFluid",
    "TestReason",
    "TypedReading",
    "VolumeFrom",
    "What",
    "Worked",
]
