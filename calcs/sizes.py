"""How large a file may be, said one way everywhere: a megabyte is a million bytes."""

from typing import Final

MEGABYTE: Final = 1_000_000
"""Bytes; the page hands it to its script, which counts by it too."""


def megabytes(size: int) -> str:
    """Return a size in words.

    >>> megabytes(64_000_000), megabytes(64_400_000)
    ('64 MB', '64.4 MB')
    """
    return f"{size / MEGABYTE:,.1f}".removesuffix(".0") + " MB"
