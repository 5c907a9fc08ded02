"""The pipe of a step that is not that of its test's heading: written in its remarks, which the certificate prints."""

import re
from typing import Final

from calcs.errors import InputError
from calcs.lineups import NO_PIPE
from calcs.units import Dimension
from equipment.models import Measured

_SENTENCE: Final = re.compile(r"^Pipe in the hole in this step: (?P<pipe>[^\n]+?)\.\s*$", re.MULTILINE)


def pipe_sentence(pipe: str) -> str:
    """Return what the remarks of a step say of its pipe; `pipe` is an outside diameter, or none for an empty hole.

    >>> pipe_sentence("3.5 in")
    'Pipe in the hole in this step: 3.5 in.'
    """
    return f"Pipe in the hole in this step: {pipe}."


def own_pipe(remarks: str) -> str | None:
    """Return the pipe that the remarks of a step state in these words; None where they state none that can be read.

    >>> own_pipe("Pipe in the hole in this step: 3.5 in.")
    '3.5 in'
    """
    found = _SENTENCE.search(remarks)
    if found is None:
        return None
    try:
        pipe_of(found["pipe"])
    except InputError:
        return None
    return found["pipe"]


def pipe_of(text: str) -> Measured | None:
    """Return a pipe string of a pressure system as a quantity; None for an empty hole."""
    return None if text == NO_PIPE else Measured.of(text, Dimension.LENGTH, field="pipe")
