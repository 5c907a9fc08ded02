"""What the demo loader asks before it writes."""

from accounts.models import User
from equipment.models import Rig


def anything_on_file() -> bool:
    """Tell whether there is a rig or a person already."""
    return Rig.objects.exists() or User.objects.exists()
