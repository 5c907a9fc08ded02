"""Whose signatures a test record needs before it is sealed, by the edition it is judged by."""

from collections.abc import Iterable
from typing import Final

from calcs.rules import Edition, SigningCapacity

ANSWERABLE: Final = (SigningCapacity.SUPERVISOR, SigningCapacity.CONTRACTOR, SigningCapacity.LESSEE)
"""Capacities that answer for a test. A pump operator or a witness beside them says what they did or saw; alone they
seal nothing (common practice where an edition states no signatures)."""

Seat = tuple[SigningCapacity, ...]
"""One needed signature: the capacities any of which gives it."""


def seats(edition: Edition) -> tuple[Seat, ...]:
    """Return the signatures a record needs: those the edition names, else that of one who answers for the test.

    >>> from datetime import date
    >>> silent = Edition("x/1", "x", "X", "first", date(2020, 1, 1), "", date(2020, 1, 1), rules=())
    >>> [" or ".join(seat) for seat in seats(silent)]
    ['supervisor or contractor or lessee']
    """
    if edition.signatures is None:
        return (ANSWERABLE,)
    return tuple((capacity,) for capacity in edition.signatures.capacities)


def open_seats(edition: Edition, given: Iterable[str]) -> tuple[Seat, ...]:
    """Return the needed signatures that `given`, the capacities signed in so far, leaves open; none: seal it."""
    signed = frozenset(given)
    return tuple(seat for seat in seats(edition) if not signed & frozenset(seat))
