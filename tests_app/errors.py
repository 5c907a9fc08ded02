"""What the tests' actions refuse beside `equipment.errors.Refused`: types a shell can answer in its own way."""

from equipment.errors import Refused, Stale


class NoRules(Refused):
    """A rig follows no rules that are known here: nothing of it can be judged, due or in date."""

    def __init__(self, reason: str) -> None:
        super().__init__("", reason, "Choose them on the page Rules of this rig: a supervisor or the rig manager can.")


class RecordIsSealed(Refused):
    """A signed record, or a row that hangs on it, was to be changed. An API answers 409."""

    def __init__(self, subject: object) -> None:
        super().__init__(
            "",
            f"{subject} is signed and never changes.",
            "Supersede it: the correction is a new record that refers to this one and says why.",
        )


class SignedAlready(Refused):
    """A record was signed by this person or in this capacity, or is sealed. An API answers 409."""

    def __init__(self, record: object, signature: object, moment: str, *, sealed: bool) -> None:
        """Take the signature in the way, and when it was given or sealed the record, in words."""
        state = "is sealed: signed" if sealed else "is already signed"
        remedy = "Nothing is left to sign." if sealed else "The page of the test says who has still to sign."
        super().__init__("", f"{record} {state} by {signature}, {moment}.", remedy)


class RecordIsStale(Stale):
    """The record changed since the page was loaded. A page answers 409, the API 412."""

    def __init__(self, seen: int, version: int) -> None:
        super().__init__(
            "version",
            f"Somebody changed this record after you opened it (you saw change {seen}, it now stands at {version}).",
            "Compare yours with what stands now, then save or sign again.",
        )
        self.seen = seen
        self.version = version
