"""What an action or a query refuses, as types with fields: each shell words them in its own way."""

from django.core.exceptions import PermissionDenied
from django.http import Http404


class Refused(Exception):
    """An action was refused because of one value or the state of things.

    Attributes:
        field: name of the value at fault as the action's caller named it; empty when it is none in particular.
        reason: what is wrong, in words.
        remedy: what to do instead, in words.
    """

    def __init__(self, field: str, reason: str, remedy: str = "") -> None:
        super().__init__(field, reason, remedy)
        self.field = field
        self.reason = reason
        self.remedy = remedy

    def __str__(self) -> str:
        """Return the reason followed by the remedy, as one line."""
        return f"{self.reason} {self.remedy}".strip()


class Stale(Refused):
    """The row changed since it was looked at: what was to be written rests on what no longer stands."""


class NotYours(Http404):
    """The person has no role on the rig: answered as if it did not exist, so that nobody learns what does."""


class NotAllowed(PermissionDenied):
    """The person has a role on the rig, but not one that gives this right.

    Attributes:
        reason: what the role does not allow, in words.
        remedy: whom to ask.
    """

    def __init__(self, reason: str, remedy: str) -> None:
        super().__init__(f"{reason} {remedy}")
        self.reason = reason
        self.remedy = remedy
