"""Sending one mail: the mark that it was sent follows the server's answer at once, before the connection is closed."""

import smtplib
from collections.abc import Callable
from email.utils import parseaddr
from typing import Final
from uuid import UUID

from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection

_PERMANENT: Final = 500


class MailRefused(Exception):
    """The server does not know the address and never will; trying again changes nothing."""


def message_id(reference: UUID) -> str:
    """Return the Message-ID of a message, the same in every try: a mailbox that drops doubles can tell them by it."""
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    return f"<{reference}@{domain}>"


def send_mail(*, to: str, subject: str, text: str, html: str, reference: UUID, when_sent: Callable[[], None]) -> None:
    """Send one mail and call `when_sent` once the server took it. Raises MailRefused, or OSError to be tried again."""
    connection = get_connection(fail_silently=False)
    mail = EmailMultiAlternatives(
        subject=subject,
        body=text,
        to=[to],
        connection=connection,
        headers={"Message-ID": message_id(reference), "Auto-Submitted": "auto-generated"},
    )
    mail.attach_alternative(html, "text/html")
    # Opened here, so that sending does not also close it: between the server's answer and the mark nothing waits.
    connection.open()
    try:
        connection.send_messages([mail])
        when_sent()
    except smtplib.SMTPRecipientsRefused as refused:
        if all(code >= _PERMANENT for code, _ in refused.recipients.values()):
            raise MailRefused("The mail server refuses the address.") from refused
        raise
    finally:
        connection.close()
