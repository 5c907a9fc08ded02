"""The plan with the fewest steps that proves what is asked of a pressure system, with the bound that shows it.

Among plans with as few steps it is one that changes the pipe least often. Its steps are then put into the order that
moves the fewest elements and done otherwise where that moves fewer; that no other plan as short moves fewer still is
not proved. Pressures are gauge, in Pa.

The solver takes a second and sixty megabytes to load, so it is loaded at the first question.
"""

import importlib
from collections.abc import Sequence
from typing import Final

from calcs.line_up_checks import check_question
from calcs.lineups import Plan, Proof, System

SECONDS: Final = 10.0


def plan(system: System, proofs: Sequence[Proof], *, seconds: float = SECONDS) -> Plan:
    """Return the fewest steps that give every proof that can be given.

    When `seconds` of the solver's time are over it is the best plan found, with the bound found. Raises InputError
    where system or proofs can't be worked with.
    """
    check_question(system, proofs)
    found: Plan = importlib.import_module("calcs.line_up_search").searched(system, tuple(proofs), seconds)
    return found
