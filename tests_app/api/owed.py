"""What a call names by its key of the due list."""

from equipment.errors import NotYours, Refused
from equipment.models import Rig
from tests_app.queries.owed import Owed, owed_on


def owed_by_key(rig: Rig, key: str) -> Owed:
    """Return what the key stands for on the rig; raises Refused naming `key` where nothing of it is owed."""
    try:
        return owed_on(rig, key)
    except NotYours as error:
        raise Refused("key", "Nothing of this key is owed on the rig.", "Take one from the due list.") from error
