"""Reads of accounts."""

from django.contrib.auth.models import AnonymousUser

from accounts.models import User


def own_account(user: User | AnonymousUser) -> User:
    """Return a fresh copy of the signed-in person's account, so that a refused form leaves the page head as it was.

    Raises User.DoesNotExist for somebody not signed in.
    """
    return User.objects.get(username=user.get_username())
