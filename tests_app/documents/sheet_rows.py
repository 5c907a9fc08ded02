"""What the papers of all kinds of records print alike, as words: instruments, files, rules, signatures, remarks."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypedDict

from calcs.units import System
from tests_app.documents import figures
from tests_app.documents.calibration import calibration_stands
from tests_app.documents.content import Confidence, FileContent, InstrumentContent, RuleContent, Sealed

CONFIDENCE_WORDS: Final[dict[Confidence, str]] = {
    "given": "The rig's own value.",
    "read": "Read in the clause named.",
    "read-2": "Read in a text that reports the clause, not in the clause itself.",
    "derived": "Worked out from other figures of the rules.",
    "memory": "From memory, not checked against the text.",
    "memory-low": "From memory and unsure; check it before relying on it.",
}


@dataclass(frozen=True, slots=True)
class Fact:
    """A name and what stands under it."""

    name: str
    text: str
    more: str = ""


@dataclass(frozen=True, slots=True)
class InstrumentRow:
    """An instrument and its calibration as it stood."""

    kind: str
    identity: str
    serial: str
    range: str
    accuracy: str
    certificate: str
    calibrated: str
    due: str
    state: str  # in-date, out-of-date, unknown
    stands: str  # the state in words


@dataclass(frozen=True, slots=True)
class FileRow:
    """A file as received."""

    name: str
    kind: str
    facts: str
    received: str
    sha256: str
    withdrawn: bool
    withdrawn_reason: str
    had_judged: str


@dataclass(frozen=True, slots=True)
class Remark:
    """Something seen or said, and where."""

    place: str
    text: str
    leak: bool = False


@dataclass(frozen=True, slots=True)
class SignatureRow:
    """Who signed, as what, when."""

    name: str
    role: str
    signed: str


@dataclass(frozen=True, slots=True)
class RuleRow:
    """A rule applied."""

    clause: str
    text: str
    confidence: str
    unsure: bool


def tested_on(content: Sealed) -> str:
    """Say on which day, or from which to which, the test was made."""
    first, last = (figures.moment_text(content[key]).partition(",")[0] for key in ("started_at", "concluded_at"))
    return f"on {first}" if first == last else f"from {first} to {last}"


def instrument_row(each: InstrumentContent, system: System) -> InstrumentRow:
    """Return an instrument with how its calibration stood."""
    low = f"{figures.entered(each['range_low'], system)} to " if each["range_low"] is not None else ""
    stands = calibration_stands(each)
    hours = f"{each['chart_hours']} h chart" if each["chart_hours"] else ""
    accuracy = f"±{each['accuracy_percent']} % of full scale" if each["accuracy_percent"] else ""
    return InstrumentRow(
        kind=each["kind"],
        identity=" ".join(filter(None, (each["maker"], each["model"]))),
        serial=each["serial"],
        range=f"{low}{figures.entered(each['range_high'], system)}",
        accuracy=", ".join(filter(None, (accuracy, hours))),
        certificate=each["certificate_number"],
        calibrated=figures.day_text(each["calibrated_on"]),
        due=figures.day_text(each["calibration_due_on"]),
        state=stands.state,
        stands=stands.words,
    )


def not_in_calibration(content: Sealed) -> Iterator[str]:
    """Name each instrument that was not in calibration on the day."""
    for each in content["instruments"]:
        stands = calibration_stands(each)
        if stands.state != "in-date":
            yield f"{each['kind']} {each['serial']}: {stands.words[:1].lower()}{stands.words[1:]}."


def file_row(each: FileContent) -> FileRow:
    """Return a file as received."""
    used = f"{steps_named(each['steps'])}".capitalize() if each["steps"] else ""
    facts = ". ".join(filter(None, (each["facts"], figures.size_text(each["size"]), used)))
    return FileRow(
        name=each["file_name"],
        kind=each["kind"]["text"],
        facts=facts,
        received=figures.moment_text(each["received_at"]),
        sha256=each["sha256"],
        withdrawn=each["withdrawn"],
        withdrawn_reason=each.get("withdrawn_reason", ""),
        had_judged=_had_judged(each),
    )


def _had_judged(each: FileContent) -> str:
    """Say what a file set aside had been judged; of a record sealed before that was kept, what is known."""
    judged = each.get("had_judged")
    if judged is None:
        return "No step rests on it."
    return f"It had been judged: {sentence(' · '.join(judged))}" if judged else "Nothing was judged from it."


def rule_row(rule: RuleContent) -> RuleRow:
    """Return a rule with how surely it is known."""
    unsure = rule["confidence"] in ("memory", "memory-low")
    return RuleRow(rule["clause"], rule["text"], CONFIDENCE_WORDS[rule["confidence"]], unsure)


def sentence(text: str) -> str:
    """End a text as a sentence ends."""
    return text if text.endswith((".", "!", "?")) else f"{text}."


def steps_named(orders: Sequence[int]) -> str:
    """Name steps by their orders: ``steps 1, 2 and 5``."""
    numbers = [str(order) for order in orders]
    if len(numbers) == 1:
        return f"step {numbers[0]}"
    return f"steps {', '.join(numbers[:-1])} and {numbers[-1]}"


def signature_rows(content: Sealed) -> tuple[SignatureRow, ...]:
    """Return who signed, in order."""
    return tuple(
        SignatureRow(each["name"], each["role"]["text"], figures.moment_text(each["signed_at"]))
        for each in content["signatures"]
    )


def signers_in_a_row(content: Sealed) -> int:
    """Return how many signatures stand side by side: a lone one gets the room of two."""
    return 2 if len(content["signatures"]) in (1, 2, 4) else 3


class CommonRows(TypedDict):
    """What every paper ends with, as `PaperRows` holds it."""

    instruments: tuple[InstrumentRow, ...]
    files: tuple[FileRow, ...]
    rules: tuple[RuleRow, ...]
    signatures: tuple[SignatureRow, ...]
    tested_on: str
    sealed: str
    in_force_from: str
    signers: int


@dataclass(frozen=True, slots=True)
class PaperRows:
    """What the sheet of every paper holds, whatever was tested; `signers` stand in a row."""

    instruments: tuple[InstrumentRow, ...]
    files: tuple[FileRow, ...]
    rules: tuple[RuleRow, ...]
    signatures: tuple[SignatureRow, ...]
    tested_on: str
    sealed: str
    in_force_from: str
    signers: int


def common_rows(content: Sealed) -> CommonRows:
    """Arrange what every paper ends with."""
    system = content["rig"]["display_units"]
    return {
        "instruments": tuple(instrument_row(each, system) for each in content["instruments"]),
        "files": tuple(file_row(each) for each in content["files"]),
        "rules": tuple(rule_row(each) for each in content["rules"]),
        "signatures": signature_rows(content),
        "tested_on": tested_on(content),
        "sealed": figures.moment_text(content["sealed_at"]),
        "in_force_from": figures.day_text(content["edition"]["in_force_from"]),
        "signers": signers_in_a_row(content),
    }
