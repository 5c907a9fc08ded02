"""System checks: a wrong set-up stops the start with a number and a hint.

Errors are numbered wellhold.E…, warnings wellhold.W…; a number is never used again for something else.
"""

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.db import connections
from django.utils import timezone

from config import heartbeat
from config.demo import demo_logins
from tests_app.models import EditionText
from tests_app.queries.editions import texts_not_on_file
from trail import guards


@register(Tags.compatibility)
def server_zone_is_utc(**_: Any) -> list[CheckMessage]:
    """Refuse any server zone but UTC: deadlines are worked out in the rig's zone and kept in UTC."""
    if settings.TIME_ZONE == "UTC" and settings.USE_TZ:
        return []
    return [
        Error("The server's time zone must be UTC.", hint='Set TIME_ZONE = "UTC", USE_TZ = True.', id="wellhold.E001")
    ]


@register(Tags.database)
def guards_stand(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Refuse a database whose sealed rows could be changed."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        missing = guards.missing(connections[alias])
        if missing:
            message = f"{len(missing)} guards of sealed rows are missing from database {alias!r}: {', '.join(missing)}."
            found.append(Error(message, hint="Run manage.py migrate, which makes them anew.", id="wellhold.E002"))
    return found


@register(Tags.security, Tags.database)
def no_demo_accounts(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Refuse the demo's sign-ins, whose passwords everybody can read, where they are not wanted."""
    if settings.DEMO_ACCOUNTS_ALLOWED or "default" not in (databases or ()):
        return []
    users = get_user_model()
    if users._meta.db_table not in connections["default"].introspection.table_names():
        return []
    names = [login["user"] for login in demo_logins()]
    active = sorted(users.objects.filter(username__in=names, is_active=True).values_list("username", flat=True))
    if not active:
        return []
    message = f"Demo accounts can sign in here: {', '.join(active)}."
    hint = "Their passwords are public. Retire these accounts, or start from an empty database."
    return [Error(message, hint=hint, id="wellhold.E003")]


@register(Tags.database)
def worker_is_heard(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Warn when no worker has been heard for minutes; asked with `check --database default`, on a running product."""
    at = timezone.now()
    if not databases or not heartbeat.is_silent(at):
        return []
    heard = heartbeat.last_heard()
    message = f"The worker was last heard at {heard:%Y-%m-%d %H:%M} UTC." if heard else "No worker was ever heard."
    hint = "Start it (make run, or the services worker and beat), and look into its log."
    return [Warning(message, hint=hint, id="wellhold.W005")]


@register(Tags.database)
def rules_are_on_file(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Warn when rule files differ from what the database keeps of them: a text tests are judged by would be lost."""
    if "default" not in (databases or ()):
        return []
    if EditionText._meta.db_table not in connections["default"].introspection.table_names():
        return []
    absent = [text["id"] for _, text in texts_not_on_file()]
    if not absent:
        return []
    message = f"Not on file as shipped: {', '.join(absent)}."
    return [Warning(message, hint="Run manage.py load_rules.", id="wellhold.W006")]


@register(Tags.security, deploy=True)
def mail_leaves_the_machine(**_: Any) -> list[CheckMessage]:
    """Warn when notices would be written nowhere anybody reads them."""
    if getattr(settings, "EMAIL_HOST", "localhost") != "localhost" or not settings.EMAIL_BACKEND.endswith(
        "smtp.EmailBackend"
    ):
        return []
    return [Warning("Mail has no server to go to.", hint="Set EMAIL_URL.", id="wellhold.W004")]
