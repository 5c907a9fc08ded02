"""Errors of the calculations: types with fields, so that each shell can word them its own way."""

from dataclasses import dataclass


@dataclass(eq=False)
class InputError(ValueError):
    """A value given to a calculation can't be used.

    Attributes:
        field: dotted path of the value at fault, as the caller named it (``rule.low.min``).
        reason: what is wrong with it, in words.
        remedy: what to give instead, in words; empty when the reason says it all.
    """

    field: str
    reason: str
    remedy: str = ""

    def __str__(self) -> str:
        """Return the reason followed by the remedy, as one line."""
        return f"{self.reason} {self.remedy}".strip()

    def under(self, parent: str) -> "InputError":
        """Return the same error with `parent` put before its field path."""
        path = f"{parent}.{self.field}" if self.field else parent
        return InputError(path, self.reason, self.remedy)
