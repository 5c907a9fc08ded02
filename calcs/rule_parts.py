"""What every rule in a file says in the same words: how surely, where, for what, how often, after which event."""

from collections.abc import Callable, Container
from typing import TypedDict, TypeVar

from calcs.errors import InputError
from calcs.fields import Fields
from calcs.recurrence import Deadline, Interval
from calcs.rules import (
    KIND_LABELS,
    STACKS,
    Confidence,
    EventTrigger,
    Occasion,
    Position,
    Recurrence,
    Scope,
    Side,
    Source,
)

T = TypeVar("T")


def read_confidence(fields: Fields, *, stated: bool = False) -> Confidence:
    """Read how surely a figure is known; only a rule stated by the caller may say so itself."""
    if stated:
        return Confidence(fields.choice("confidence", list(Confidence), Confidence.GIVEN))
    return Confidence(fields.choice("confidence", [word for word in Confidence if word is not Confidence.GIVEN]))


def read_source(fields: Fields) -> Source:
    """Read where a figure stands and how surely it is known."""
    stated = fields.any("confidence", None) == Confidence.GIVEN and fields.path_of_self.startswith("rule.")
    return Source(fields.text("clause"), read_confidence(fields, stated=stated), fields.text("note", ""))


def read_scope(fields: Fields) -> Scope:
    """Read what a rule applies to."""
    return Scope(
        kinds=fields.choices("kinds", KIND_LABELS),
        stacks=fields.choices("stacks", STACKS),
        positions=fields.choices("positions", list(Position)),
        sides=fields.choices("sides", list(Side)),
        occasions=fields.choices("occasions", list(Occasion)),
    )


def read_recurs(fields: Fields) -> Recurrence:
    """Read the interval, where it ends, and its clause."""
    interval = fields.read("interval", Interval.parse)
    deadline = Deadline(fields.choice("deadline", list(Deadline)))
    return Recurrence(interval, deadline, read_source(fields))


def read_event(fields: Fields) -> EventTrigger:
    """Read an event that calls for the test, and its clause."""
    return EventTrigger(Occasion(fields.choice("occasion", list(Occasion))), read_source(fields))


class StatedParts(TypedDict):
    """What every rule but one on a pressure test begins with: the fields of `calcs.rules.StatedRule`."""

    id: str
    clause: str
    title: str
    confidence: Confidence
    scopes: tuple[Scope, ...]
    note: str
    recurs: Recurrence | None
    events: tuple[EventTrigger, ...]


def read_stated(fields: Fields, event: Callable[[Fields], EventTrigger]) -> StatedParts:
    """Read what such a rule begins with, its events by `event`; raises InputError naming the path at fault."""
    return {
        "id": fields.text("id"),
        "clause": fields.text("clause"),
        "title": fields.text("title"),
        "confidence": read_confidence(fields),
        "scopes": tuple(read_scope(scope) for scope in fields.objects("scope")),
        "note": fields.text("note", ""),
        "recurs": read_recurs(fields.object("recurs")) if fields.has("recurs") else None,
        "events": tuple(event(one) for one in fields.objects("events")),
    }


def is_of_kind(fields: Fields, kinds: Container[str]) -> bool:
    """Tell whether a rule of a file is of one of these kinds."""
    kind = fields.any("kind", None)
    return isinstance(kind, str) and kind in kinds


def under(fields: Fields, make: Callable[[], T]) -> T:
    """Return what `make` makes; an InputError of it is put under the path of `fields`."""
    try:
        return make()
    except InputError as error:
        if error.field.startswith(fields.path_of_self) and fields.path_of_self:
            raise
        raise error.under(fields.path_of_self) from error
