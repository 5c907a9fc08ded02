"""Reads of accounts."""

from accounts.models import User


def own_account(user: User) -> User:
    """Return a fresh copy of the signed-in person's account, so that a refused form leaves the page head as it was."""
    return User.objects.get(pk=user.pk)
