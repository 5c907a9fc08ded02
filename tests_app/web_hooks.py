"""Calls of a rig's web hook: a signed JSON body by POST over http or https, and nothing followed.

How a receiver checks a call. Three headers come with it:

- ``Wellhold-Delivery``: an id that stays the same in every try of one message. Keep it, and drop a call whose id you
  have had: then a repeat after a broken connection is read once.
- ``Wellhold-Sent``: when this try was sent, in ISO 8601 in UTC. Refuse one that is more than a few minutes old.
- ``Wellhold-Signature``: ``sha256=`` and the HMAC-SHA256 (RFC 2104), in hexadecimal digits, of the delivery id, a line
  feed, the moment as sent, a line feed and the body as received, with the secret of the rig's web hook as key.

Any answer of 200 to 299 is taken as received; anything else, and no answer within ten seconds, is tried again.
"""

import hashlib
import hmac
import ipaddress
import socket
from dataclasses import dataclass
from datetime import UTC, datetime
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from typing import Final
from urllib.parse import SplitResult, urlsplit

SECONDS: Final = 10.0
"""How long the connection, and each part of the answer, is waited for."""
_LONGEST_ADDRESS: Final = 500


class BadAddress(ValueError):
    """An address no web hook can have; the text says why and what to give instead."""


class NotReceived(Exception):
    """A call that was not taken; the text says why, without the address, which may hold a secret."""


@dataclass(frozen=True)
class Call:
    """One try of one message.

    Attributes:
        delivery: the id that is the same in every try.
        sent_at: when this try is sent.
        body: JSON in UTF-8.
        secret: the key of the signature.
    """

    delivery: str
    sent_at: datetime
    body: bytes
    secret: str

    @property
    def headers(self) -> dict[str, str]:
        """Return the headers that go with the body."""
        sent = self.sent_at.astimezone(UTC).isoformat(timespec="seconds")
        return {
            "Content-Type": "application/json; charset=utf-8",
            "User-Agent": "Wellhold",
            "Connection": "close",
            "Wellhold-Delivery": self.delivery,
            "Wellhold-Sent": sent,
            "Wellhold-Signature": f"sha256={signature(self.secret, self.delivery, sent, self.body)}",
        }


def signature(secret: str, delivery: str, sent: str, body: bytes) -> str:
    """Return the signature of a call, in hexadecimal digits."""
    signed = f"{delivery}\n{sent}\n".encode() + body
    return hmac.new(secret.encode(), signed, hashlib.sha256).hexdigest()


def checked_address(address: str) -> SplitResult:
    """Return the parts of a web hook's address; raises BadAddress."""
    if len(address) > _LONGEST_ADDRESS or any(ord(letter) <= ord(" ") or ord(letter) > ord("~") for letter in address):
        raise BadAddress("The address is too long, or holds blanks or letters no address has. Copy it again.")
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError as error:
        raise BadAddress("This is no web address. Write it as https://host/path.") from error
    if parts.scheme not in ("http", "https") or not parts.hostname or port == 0:
        raise BadAddress("Only addresses that begin with http:// or https:// are called. Write https://host/path.")
    if parts.username is not None or parts.password is not None:
        raise BadAddress(
            "A name or password in the address would be shown. Leave it out: the signature tells who calls."
        )
    return parts


def host_of(address: str) -> str:
    """Return the host of an address, which may be shown where the rest may not."""
    return urlsplit(address).hostname or ""


def may_be_called(address: str, *, private_allowed: bool) -> bool:
    """Tell whether a machine's address may be called.

    Link-local addresses never are: the services machines of a cloud ask about themselves live there.
    """
    found = ipaddress.ip_address(address.partition("%")[0])
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is not None:
        found = found.ipv4_mapped
    if found.is_link_local or found.is_multicast or found.is_unspecified:
        return False
    return found.is_global or (private_allowed and (found.is_private or found.is_loopback))


class _Plain(HTTPConnection):
    """A connection that looks where it arrived before it says anything: a name may lead elsewhere each time."""

    private_allowed = False

    def connect(self) -> None:
        """Connect, then refuse an address that may not be called."""
        super().connect()
        arrived = self.sock.getpeername()[0]
        if not may_be_called(arrived, private_allowed=self.private_allowed):
            self.close()
            raise NotReceived(
                "The address leads into a private network, which this installation does not allow "
                "(WELLHOLD_HOOKS_TO_PRIVATE)."
            )


class _Secure(HTTPSConnection, _Plain):
    """The same with TLS, which begins only after the look: `HTTPSConnection` connects through `_Plain`."""


def send(address: str, call: Call, *, private_allowed: bool) -> None:
    """Post a call once. Raises NotReceived with the reason; redirects are not followed."""
    parts = checked_address(address)
    kind = _Secure if parts.scheme == "https" else _Plain
    connection = kind(parts.hostname or "", parts.port, timeout=SECONDS)
    connection.private_allowed = private_allowed
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    try:
        connection.request("POST", path, body=call.body, headers=call.headers)
        status = connection.getresponse().status
    except TimeoutError as error:
        raise NotReceived(f"No answer within {SECONDS:.0f} seconds.") from error
    except socket.gaierror as error:
        raise NotReceived("The name of the host is not known here.") from error
    except OSError as error:
        raise NotReceived(f"The connection failed: {error.strerror or type(error).__name__}.") from error
    except HTTPException as error:
        raise NotReceived("The answer is no HTTP.") from error
    finally:
        connection.close()
    if not 200 <= status < 300:
        moved = " Redirects are not followed: give the address it leads to." if 300 <= status < 400 else ""
        raise NotReceived(f"The receiver answered {status}.{moved}")
