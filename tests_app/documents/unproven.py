"""What stood on a stack and was not proved by its test, in words, for page and paper alike."""

from dataclasses import dataclass

from tests_app.documents import figures
from tests_app.documents.content import Content, ProofContent, UnprovenContent


@dataclass(frozen=True, slots=True)
class UnprovenRow:
    """A component that stood on the stack and is not proved here."""

    position: str
    kind: str
    serial: str
    last: str
    warning: str  # why its last proof does not stand, or ""


def unproven_rows(content: Content) -> tuple[UnprovenRow, ...] | None:
    """Return what stood on the stack and is not proved by this test; None where the record does not say."""
    if "unproven" not in content:
        return None
    return tuple(_unproven_row(each) for each in content["unproven"] if each["by_hold"])


def _unproven_row(each: UnprovenContent) -> UnprovenRow:
    last, since = each["last_proved"], each["failed_since"]
    warning = f"Not passed on {_proof(since)}" if since is not None else ""
    return UnprovenRow(
        position=each["position"],
        kind=each["kind"],
        serial=each["serial"],
        last=_proof(last) if last is not None else "No passing test on file",
        warning="Left not passed by this test" if each["failed_here"] else warning,
    )


def _proof(test: ProofContent) -> str:
    day, _comma, _clock = figures.moment_text(test["concluded_at"]).partition(",")
    return f"{day}, record {test['record']}"


def otherwise_proved(content: Content) -> str:
    """Name what stood on the stack and is of a kind that other tests than a pressure hold prove; "" for nothing."""
    others = [each for each in content.get("unproven", []) if not each["by_hold"]]
    return ", ".join(f"{each['position']} ({each['serial']})" for each in others)
