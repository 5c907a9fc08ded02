"""Sending one mail: the mark that it was sent follows the server's answer at once, before the connection is closed."""

import smtplib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from email.utils import parseaddr
from pathlib import Path
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


@dataclass(frozen=True)
class KeptMail:
    """A mail as the folder keeps it."""

    to: str
    subject: str
    text: str


def kept_mail(reference: UUID, sent_at: datetime) -> KeptMail | None:
    """Return a mail out of the folder where mail is kept that leaves no machine; None when it is not there any more."""
    wanted = message_id(reference).encode()
    for path in _written_about(Path(getattr(settings, "EMAIL_FILE_PATH", "")), sent_at):
        content = path.read_bytes()
        if wanted in content:
            return _read(content.partition(_BETWEEN_MAILS)[0])
    return None


_BETWEEN_MAILS: Final = b"-" * 79
_WRITTEN_WITHIN: Final = timedelta(minutes=10)


def _written_about(folder: Path, moment: datetime) -> Iterator[Path]:
    """Yield the files written about a moment: years of mail are not read to find one."""
    for path in sorted(folder.glob("*.log")):
        written = datetime.fromtimestamp(path.stat().st_mtime, UTC)
        if abs(written - moment) <= _WRITTEN_WITHIN:
            yield path


def _read(content: bytes) -> KeptMail:
    mail = message_from_bytes(content, policy=policy.default)
    body = mail.get_body(("plain",))
    return KeptMail(str(mail["To"]), str(mail["Subject"]), body.get_content() if body else "")
