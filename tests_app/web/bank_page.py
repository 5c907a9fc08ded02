"""The pages of drafts of drawdown and pump tests: everything on one page, a refused form in its place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.http import urlencode

from equipment.models import Bank
from tests_app.models import DrawdownFunction, PumpReading, Recharge, Record, Recording, RecordingKind, RecordKind
from tests_app.queries import records
from tests_app.queries.banks_tested import BankTested, read_copy
from tests_app.queries.drawdown_sequence import usual_sequence
from tests_app.queries.drawdowns import Reading, comparison_of, functions_of
from tests_app.queries.open_points import open_points
from tests_app.web.channel_form import ChannelForm
from tests_app.web.charging_forms import PumpForm, RechargeForm
from tests_app.web.drawdown_forms import PARTS, ReadingRow, ReadingsForm, unit_for
from tests_app.web.drawdown_plot import points_of, still
from tests_app.web.drawdown_view import Compared, RowShown, compared
from tests_app.web.entry import Visit
from tests_app.web.evidence_forms import AttachForm, ChartForm, ReasonForm
from tests_app.web.record_page import WHOLE, Bound, FileRow, conclude_form, edition_title
from tests_app.web.refusals import status_of
from tests_app.web.story import story_of

_NONE_BOUND: Final[Bound] = {}
_PLACES: Final[Mapping[str, str]] = {
    "concluded_at": "conclude",
    "functions": "functions",
    "recharges": "recharges",
    "pumps": "pumps",
}


@dataclass(frozen=True)
class FunctionBlock:
    """One function: its fields, what they are held beside, and what a recorder's file proposes for it."""

    row: ReadingRow
    shown: RowShown | None
    number_of_next: int | None

    @property
    def function(self) -> DrawdownFunction:
        """Return the function itself."""
        return self.row.function

    @property
    def proposed(self) -> Mapping[str, Any] | None:
        """Return what a file proposes and nobody took over yet."""
        found: Mapping[str, Any] | None = self.function.proposed
        return found if found and not found["confirmed"] else None


@dataclass(frozen=True)
class Live:
    """What the readings say, saved or not, and what of them was refused."""

    form: ReadingsForm
    view: Compared
    blocks: Sequence[FunctionBlock]
    picture: Any
    plot_address: str
    state: str = ""
    said: str = ""


@dataclass(frozen=True)
class ChargingRow:
    """A timed charging with its form."""

    recharge: Recharge
    form: BaseForm


@dataclass(frozen=True)
class PumpRow:
    """A pump with its form."""

    pump: PumpReading
    form: BaseForm


@dataclass(frozen=True)
class BottleRow:
    """A bottle as it was tested, with what was read of it."""

    number: int
    serial: str
    gas_volume: Mapping[str, str]
    state: str
    in_service: bool
    pressure: Mapping[str, str] | None
    gas_temperature: Mapping[str, str] | None
    at_reference: float | None


def readings_form(visit: Visit, record: Record, data: Any = None) -> ReadingsForm:
    """Return the form of all readings, as they stand."""
    test = record.drawdown_test
    return ReadingsForm(
        data,
        functions=list(functions_of(record)),
        unit=unit_for(record, visit.units),
        version=record.version,
        settled=test.wait_seconds is not None or test.judged_state == "settled",
    )


def live_of(
    visit: Visit,
    record: Record,
    form: ReadingsForm,
    *,
    supposed: Mapping[int, Reading] | None = None,
    state: str = "",
    said: str = "",
) -> Live:
    """Return the comparison for a page; `supposed` readings take the place of the saved ones."""
    comparison = comparison_of(record, supposed)
    view = compared(comparison, form.unit_typed, visit.units)
    rows = form.rows()
    blocks = [
        FunctionBlock(row, view.row(row.function.order), row.function.order + 1 if row is not rows[-1] else None)
        for row in rows
    ]
    picture = still(points_of(comparison, view.unit, view.volume_unit))
    return Live(form, view, blocks, picture, plot_address(record, form, supposed), state, said)


def plot_address(record: Record, form: ReadingsForm, supposed: Mapping[int, Reading] | None) -> str:
    """Return where the plot of what the form holds is drawn; figures not saved yet stand in the address."""
    address = reverse("tests_app:drawdown-plot", args=[record.pk])
    if supposed is None:
        return address
    names = [f"{part}-{one.order}" for one in form.functions for part in PARTS]
    typed = {name: str(form[name].value() or "") for name in names}
    return f"{address}?{urlencode({'unit': form.unit_typed, **typed})}"


class BankAssembly:
    """What the draft pages of both tests of a bank share."""

    def __init__(self, visit: Visit, record: Record, bound: Bound = _NONE_BOUND) -> None:
        self.visit = visit
        self.record = record
        self.bound = bound

    def _form(self, name: str, number: int, fresh: BaseForm) -> BaseForm:
        return self.bound.get((name, number), fresh)

    def _recharge(self, recharge: Recharge | None) -> BaseForm:
        fresh = RechargeForm.about(recharge, units=self.visit.units)
        return self._form("recharge", recharge.pk if recharge else WHOLE, fresh)

    def _points(self) -> dict[str, Any]:
        anchored = [(point, self._anchor(point.field)) for point in open_points(self.record)]
        return {
            "missing": [one for one in anchored if one[0].blocks],
            "advice": [one for one in anchored if not one[0].blocks],
        }

    def _anchor(self, about: str) -> str:
        if about in _PLACES or about.partition("-")[0] in ("function", "file", "pump", "recharge"):
            return _PLACES.get(about, about)
        return "heading"

    def shared(self) -> dict[str, Any]:
        """Return what both pages show."""
        record = self.record
        chargings = list(record.recharges.order_by("order"))
        return {
            "record": record,
            **bank_facts(record),
            "chargings": [ChargingRow(one, self._recharge(one)) for one in chargings],
            "charging_new": self._recharge(None),
            "conclude": self._form("conclude", WHOLE, conclude_form(self.visit, record, [])),
            "discard": self._form("discard", WHOLE, ReasonForm(prefix="discard")),
            "story": story_of(record),
            **self._points(),
            **files_of(self, list(records.recordings_of(record))),
        }

    def file_row(self, recording: Recording) -> FileRow:
        """Return a file with its forms."""
        channel = None
        if recording.has_several_channels:
            channel = self._form("channel", recording.pk, ChannelForm(recording=recording))
        withdraw = ReasonForm(prefix=f"withdraw-{recording.pk}")
        return FileRow(recording, self._form("withdraw", recording.pk, withdraw), channel)

    def attach_forms(self) -> dict[str, BaseForm]:
        """Return the forms that take files."""
        return {
            "attach_whole": self._form("attach", WHOLE, AttachForm(prefix="attach-0")),
            "chart_whole": self._form("chart", WHOLE, ChartForm(prefix="chart-0")),
        }


def files_of(page: BankAssembly, recordings: Sequence[Recording]) -> dict[str, Any]:
    """Return the files of the whole test: recorder files, charts, and those set aside."""
    used = [one for one in recordings if one.withdrawn_at is None]
    return {
        "samples": [page.file_row(one) for one in used if one.kind == RecordingKind.SAMPLES],
        "whole_charts": [page.file_row(one) for one in used if one.kind == RecordingKind.CHART],
        "withdrawn": [one for one in recordings if one.withdrawn_at is not None],
        **page.attach_forms(),
    }


class DrawdownAssembly(BankAssembly):
    """Puts the page of a drawdown's draft together."""

    def context(self, live: Live | None = None) -> dict[str, Any]:
        """Return all the page needs."""
        record = self.record
        bound = self.bound.get(("readings", WHOLE))
        if live is None and isinstance(bound, ReadingsForm):
            live = live_of(self.visit, record, bound, supposed=bound.supposed())
        if live is None:
            live = live_of(self.visit, record, readings_form(self.visit, record))
        sequence = usual_sequence(record) if not live.blocks else None
        conflict = bound is not None and status_of(bound) == HTTPStatus.CONFLICT
        return {
            **self.shared(),
            "test": record.drawdown_test,
            "live": live,
            "sequence": sequence,
            "conflict": conflict,
            "changes_since": story_of(record, most=3) if conflict else (),
            "proposals": [one for one in live.blocks if one.proposed],
        }


class PumpAssembly(BankAssembly):
    """Puts the page of a pump test's draft together."""

    def context(self) -> dict[str, Any]:
        """Return all the page needs."""
        pumps = list(self.record.pump_readings.order_by("pk"))
        return {
            **self.shared(),
            "test": self.record.pump_test,
            "pumps": [PumpRow(one, self._pump(one)) for one in pumps],
            "pump_new": self._pump(None),
        }

    def _pump(self, pump: PumpReading | None) -> BaseForm:
        return self._form("pump", pump.pk if pump else WHOLE, PumpForm.about(pump, units=self.visit.units))


def bank_facts(record: Record) -> dict[str, Any]:
    """Return the heading's facts and the bank as it was copied."""
    test = record.drawdown_test if hasattr(record, "drawdown_test") else record.pump_test
    copy = test.bank_as_tested
    bank: Bank = test.bank
    return {
        "edition_title": edition_title(record),
        "uses": list(record.instrument_uses.all()),
        "bank": bank,
        "copy": copy,
        "bottles": _bottles(copy, read_copy(copy)),
    }


def _bottles(copy: Mapping[str, Any], tested: BankTested) -> list[BottleRow]:
    return [
        BottleRow(
            number=kept["number"],
            serial=kept["serial"],
            gas_volume=kept["gas_volume"],
            state=kept["state_text"],
            in_service=one.in_service,
            pressure=kept["pressure"],
            gas_temperature=kept["gas_temperature"],
            at_reference=one.at_reference,
        )
        for kept, one in zip(copy["bottles"], tested.bottles, strict=True)
    ]


def picture_of(visit: Visit, record: Record) -> Any:
    """Return the still picture of a drawdown as it stands on file; None for other tests."""
    if record.kind != RecordKind.DRAWDOWN:
        return None
    view = compared(comparison_of(record), unit_for(record, visit.units), visit.units)
    return still(points_of(view.comparison, view.unit, view.volume_unit))


def drawdown_page(
    request: HttpRequest, visit: Visit, record: Record, bound: Bound, *, status: int = HTTPStatus.OK
) -> HttpResponse:
    """Show the draft of a drawdown."""
    return visit.show(
        request, "tests_app/drawdown.html", DrawdownAssembly(visit, record, bound).context(), status=status
    )


def pump_page(
    request: HttpRequest, visit: Visit, record: Record, bound: Bound, *, status: int = HTTPStatus.OK
) -> HttpResponse:
    """Show the draft of a pump test."""
    return visit.show(request, "tests_app/pump_test.html", PumpAssembly(visit, record, bound).context(), status=status)
