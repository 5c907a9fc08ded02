"""What rests on an amended row is worked out anew in the same transaction, by whichever application keeps it.

An application over this one registers a follower in the `ready()` of its configuration. What a follower
refuses, the whole amendment is refused for: figures that no longer agree would stand beside each other.
"""

from collections.abc import Callable
from datetime import datetime
from typing import Final

from equipment.models import Component, HoleSection
from trail.actors import Actor

Amended = Component | HoleSection
Follower = Callable[[Amended, Actor, datetime], object]
_followers: Final[list[Follower]] = []


def register(follower: Follower) -> None:
    """Have `follower` called with each amended row, who amends it and when; registering one again changes nothing."""
    if follower not in _followers:
        _followers.append(follower)


def follow(row: Amended, by: Actor, at: datetime) -> None:
    """Let every follower work out what rests on the row; raises Refused as they do."""
    for follower in _followers:
        follower(row, by, at)
