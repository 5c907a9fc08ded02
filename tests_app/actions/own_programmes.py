"""A rig's own values in the rules it follows: each change makes the next numbered copy, which never changes."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max

from calcs.errors import InputError
from calcs.fields import Fields
from calcs.programme_figures import Comparison
from calcs.programmes import Addition, applied, changed_figure, parse_changes, read_change
from calcs.rules import Edition
from equipment.errors import Refused
from equipment.models import Rig
from tests_app import rulebook
from tests_app.errors import NoRules
from tests_app.models import Programme, ProgrammeCopy
from tests_app.queries.programmes import copy_of
from trail import entries
from trail.actors import Actor, name_of

Given = Mapping[str, Any]


@transaction.atomic
def change_figure(
    rig: Rig, *, rule: str, figure: str, own: Any, approval: str = "", reason: str, by: Actor, at: datetime
) -> ProgrammeCopy:
    """Let one figure of the rules have the rig's own value from now on; tests opened keep the copy they began under.

    `figure` and `own` are in the vocabulary of `calcs.programmes`; a rule of the rig's own is added as ``own-rule``.
    Raises Refused naming `own` for a value that can't be used or stands already, `approval` for a looser one
    without its reference, `reason` for a change without one.
    """
    programme, changes = _held(rig)
    source = _source_of(programme)
    given = {"rule": rule, "figure": figure, "own": own, "source": "", "approval": approval.strip()}
    change = _read(given)
    if not isinstance(change, Addition):
        given["source"] = _refuse_no_change(source, change)
    standing = next((one for one in changes if _key(one) == _key(given)), None)
    if standing is not None and (standing["own"], standing["approval"]) == (given["own"], given["approval"]):
        raise Refused("own", "This is the rig's own value already.", "Give another, or leave it.")
    kept = [one for one in changes if one is not standing]
    return _follow(programme, [*kept, given], "programme.figure-changed", reason=reason, by=by, at=at)


@transaction.atomic
def take_back(rig: Rig, *, rule: str, figure: str, reason: str, by: Actor, at: datetime) -> Programme:
    """Let one figure have the source's value again; without any own value left the published edition is followed.

    Raises Refused naming `figure` where the rig has no own value of it, `reason` for none.
    """
    programme, changes = _held(rig)
    kept = [one for one in changes if _key(one) != (rule, figure)]
    if len(kept) == len(changes):
        raise Refused("figure", "The rig has no own value of this figure.", "It stands as the source has it.")
    if kept:
        _follow(programme, kept, "programme.figure-taken-back", reason=reason, by=by, at=at)
    else:
        _refuse_no_reason(reason)
        before = entries.snapshot(programme)
        _move(programme, _source_of(programme).id, by=by, at=at)
        _tell("programme.figure-taken-back", programme, before, changes, [], reason=reason, by=by, at=at)
    return programme


def _held(rig: Rig) -> tuple[Programme, list[dict[str, Any]]]:
    programme = Programme.objects.select_for_update(no_key=True).filter(rig=rig).first()
    if programme is None:
        raise NoRules(f"No rules are chosen for {rig.name}.")
    copy = copy_of(programme)
    return programme, list(copy.changes) if copy else []


def _source_of(programme: Programme) -> Edition:
    try:
        return rulebook.published(programme.edition)
    except InputError as error:
        raise NoRules(f"The rules chosen, {programme.edition}, are not in this rule book.") from error


def _key(given: Given) -> tuple[str, str]:
    return given["rule"], given["figure"]


def _read(given: Given) -> Any:
    try:
        return read_change(Fields(given))
    except InputError as error:
        raise Refused(error.field, error.reason, error.remedy) from error


def _refuse_no_change(source: Edition, change: Any) -> str:
    """Refuse the source's own value; return that value in words."""
    try:
        found, comparison = changed_figure(source, change)
    except InputError as error:
        raise Refused(error.field, error.reason, error.remedy) from error
    if comparison is Comparison.SAME:
        raise Refused("own", "This is the value the source has.", "Give another, or take the own value back.")
    return found.source_words


def _follow(
    programme: Programme, changes: Sequence[Given], event: str, *, reason: str, by: Actor, at: datetime
) -> ProgrammeCopy:
    """Make the next copy and follow it."""
    _refuse_no_reason(reason)
    source = _source_of(programme)
    _try_out(source, changes)
    before, earlier = entries.snapshot(programme), copy_of(programme)
    numbers = ProgrammeCopy.objects.filter(rig_id=programme.rig_id).aggregate(last=Max("number"))
    copy = ProgrammeCopy.objects.create(
        rig_id=programme.rig_id,
        number=(numbers["last"] or 0) + 1,
        source=source.id,
        changes=list(changes),
        made_at=at,
        made_by=name_of(by),
        reason=reason.strip(),
    )
    _move(programme, copy.edition, by=by, at=at)
    _tell(event, programme, before, earlier.changes if earlier else [], changes, reason=reason, by=by, at=at)
    return copy


def _try_out(source: Edition, changes: Sequence[Given]) -> None:
    """Refuse changes that can't be made together; what is wrong with the last, the one just given, is named as its."""
    try:
        applied(source, parse_changes(changes), edition_id=source.id, words="")
    except InputError as error:
        _, place, field = [*error.field.split(".", 2), "", ""][:3]
        named = field if place == str(len(changes) - 1) else "own"
        raise Refused(named, error.reason, error.remedy) from error


def _refuse_no_reason(reason: str) -> None:
    if not reason.strip():
        raise Refused("reason", "Rules are not changed without a reason.", "Say why, in a few words.")


def _move(programme: Programme, edition: str, *, by: Actor, at: datetime) -> None:
    programme.edition = edition
    programme.chosen_at = max(at, programme.chosen_at)
    programme.chosen_by = name_of(by)
    programme.save()


def _tell(
    event: str,
    programme: Programme,
    before: Given,
    earlier: Sequence[Given],
    changes: Sequence[Given],
    *,
    reason: str,
    by: Actor,
    at: datetime,
) -> None:
    entries.write(
        event,
        programme,
        by=by,
        at=at,
        rig_number=programme.rig_id,
        before={**before, "changes": list(earlier)},
        after={**entries.snapshot(programme), "changes": list(changes)},
        reason=reason.strip(),
    )
