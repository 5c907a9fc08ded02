"""What of a rig one changed row may have moved: which components, control items, instruments and stacks."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from django.db.models import Model, Q

from equipment.models import RAM_KINDS, Component, ComponentKind, ControlItem, Installation
from tests_app.models import (
    BroughtTest,
    Completion,
    Deferral,
    DrawdownTest,
    FunctionLine,
    Line,
    Obligation,
    Postponement,
    PumpTest,
    Record,
    RecordKind,
    TestReason,
    What,
)
from tests_app.queries.deriving.scope import EVERYTHING, Scope

NOTHING: Final = Scope()
_MOVES_NOTHING: Final = frozenset(
    {"rig.registered", "well.registered", "stack.registered", "position.added", "position.removed"}
    | {"component.registered", "bank.registered", "record.concluded", "record.signed", "past-test.brought-in"}
)
"""Events that bring in a row on which nothing can be owed yet, or change what no date hangs on before the seal."""
_SHAPES_THE_STACK: Final = RAM_KINDS | {ComponentKind.ANNULAR}
"""Kinds that decide what is asked of others: what stands over the uppermost ram, which annular closes over it."""
_TESTED: Final = (What.PRESSURE, What.FUNCTION, What.DRAWDOWN, What.PUMP)
_BANKED: Final = (What.DRAWDOWN, What.PUMP, What.PRECHARGE, What.SHELL)
_STACK_MOVED: Final = (TestReason.LANDED, TestReason.STUMP)


def touched_by(event: str, row: Model) -> Scope:
    """Return what an event of the trail may have moved; nothing for tables no date hangs on."""
    return _READERS[row._meta.label_lower](row) if may_move(event, row) else NOTHING


def may_move(event: str, row: Model) -> bool:
    """Tell whether an event may have moved anything at all. No query."""
    return row._meta.label_lower in _READERS and event not in _MOVES_NOTHING


def _everything(_: Any) -> Scope:
    return EVERYTHING


def _installation(row: Installation) -> Scope:
    if row.component.kind in _SHAPES_THE_STACK:
        return EVERYTHING
    own = Scope.of(components=[row.component_id], stacks=[row.position.stack_id])
    return own | Scope(rig_itself=True)


def _component(row: Component) -> Scope:
    return EVERYTHING if row.kind in _SHAPES_THE_STACK else Scope.of(components=[row.pk])


def _service(row: Any) -> Scope:
    return Scope.of(components=[row.component_id], whats=[*_TESTED, What.OVERHAUL, What.INSPECTION])


def _elastomer(row: Any) -> Scope:
    return Scope.of(components=[row.component_id], whats=[What.ELASTOMER])


def _bank(row: Any) -> Scope:
    return Scope.of(components=[row.component_id], whats=_BANKED)


def _of_bank(row: Any) -> Scope:
    return Scope.of(components=[row.bank.component_id], whats=_BANKED)


def _reading(row: Any) -> Scope:
    return Scope.of(components=[row.check_round.bank.component_id], whats=_BANKED)


def _document(row: Any) -> Scope:
    return Scope.of(components=[row.component_id], instruments=[row.instrument_id], whats=[What.DOCUMENT])


def _instrument(row: Any) -> Scope:
    return Scope.of(instruments=[row.pk])


def _control_item(row: ControlItem) -> Scope:
    return Scope.of(control_items=[row.pk], stacks=[row.stack_id])


def _step(row: Any) -> Scope:
    return _record(row.record)


def _record(row: Record) -> Scope:
    """Return what a record proves, or proved before it was changed, and the stations it was worked from."""
    keys = {key for key in (row.pk, row.supersedes_id) if key}
    heading = getattr(row, "pressure_test", None) if row.kind == RecordKind.PRESSURE else None
    if heading is not None and heading.reason in _STACK_MOVED:
        return EVERYTHING
    parts, items = _worked_in(row.kind, keys)
    if heading is not None and row.sealed_at is not None:
        used = [place for place in (heading.control_station, heading.pod) if place]
        items |= {*ControlItem.objects.filter(stack=row.stack_id, place__in=used).values_list("pk", flat=True)}
    return Scope.of(components=parts, control_items=items, whats=_TESTED) | _that_names(keys)


def _worked_in(kind: str, records: set[int]) -> tuple[set[int | None], set[int | None]]:
    """Return the components and control items that records of a kind are about. One query."""
    if kind == RecordKind.FUNCTION:
        rows = FunctionLine.objects.filter(record__in=records).order_by().values_list("component_id", "control_item_id")
        worked = list(rows)
        return {component for component, _ in worked}, {item for _, item in worked}
    if kind == RecordKind.PRESSURE:
        lines = Line.objects.filter(step__record__in=records).order_by()
        return {*lines.values_list("component_id", flat=True)}, set()
    model = DrawdownTest if kind == RecordKind.DRAWDOWN else PumpTest
    tests = model._default_manager.filter(record__in=records)
    return {*tests.values_list("bank__component_id", flat=True)}, set()


def _that_names(records: set[int]) -> Scope:
    """Return what a record was shown on so far: a line taken out of a draft leaves no other trace."""
    named = Q(draft__in=records) | Q(last_record__in=records) | Q(failed_record__in=records)
    rows = list(Obligation.objects.filter(named).values_list("component_id", "control_item_id"))
    return Scope.of(components=[one for one, _ in rows], control_items=[item for _, item in rows], whats=_TESTED)


def _line(row: Any) -> Scope:
    return Scope.of(components=[row.component_id], control_items=[row.control_item_id], whats=[What.FUNCTION])


def _brought_test(row: BroughtTest) -> Scope:
    return Scope.of(components=[row.component_id], whats=[What(row.what)])


def _completion(row: Completion) -> Scope:
    entered_with_it = row.service_event_id or row.new_document_id or row.new_elastomer_id or row.replaced
    own = Scope.of(
        components=[row.component_id, row.elastomer.component_id if row.elastomer else None],
        control_items=[row.control_item_id],
        instruments=[row.instrument_id],
        stacks=[row.stack_id],
        whats=None if entered_with_it else [What(row.what)],
    )
    return own | _document(row.document) | _of_key(row) if row.document else own | _of_key(row)


def _of_key(row: Completion | Deferral | Postponement) -> Scope:
    """Return what an obligation's key stands for, by the obligation stored; everything where none is."""
    stored = Obligation.objects.filter(rig=row.rig_id, key=row.obligation_key).first()
    if stored is None:
        return EVERYTHING
    own = Scope.of(
        components=[stored.component_id], control_items=[stored.control_item_id], instruments=[stored.instrument_id]
    )
    if own.is_empty:
        own = Scope.of(stacks=[stored.stack_id]) if stored.stack_id else Scope(rig_itself=True)
    return own.narrowed([What(stored.what)])


_READERS: Final[Mapping[str, Callable[[Any], Scope]]] = {
    "equipment.rig": _everything,
    "equipment.well": _everything,
    "equipment.holesection": _everything,
    "equipment.stack": _everything,
    "equipment.position": _everything,
    "equipment.installation": _installation,
    "equipment.component": _component,
    "equipment.serviceevent": _service,
    "equipment.elastomer": _elastomer,
    "equipment.document": _document,
    "equipment.instrument": _instrument,
    "equipment.controlitem": _control_item,
    "equipment.bank": _bank,
    "equipment.bottle": _of_bank,
    "equipment.prechargecheck": _of_bank,
    "equipment.prechargereading": _reading,
    "tests_app.programme": _everything,
    "tests_app.programmecopy": _everything,
    "tests_app.record": _record,
    "tests_app.step": _step,
    "tests_app.functionline": _line,
    "tests_app.broughttest": _brought_test,
    "tests_app.completion": _completion,
    "tests_app.deferral": _of_key,
    "tests_app.postponement": _of_key,
}
