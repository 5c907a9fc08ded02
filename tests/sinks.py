"""A mail server and a web-hook receiver for the tests, on this machine and in threads of their own."""

import asyncio
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller


def free_port() -> int:
    """Return a port nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Mailbox:
    """What a mail server took; while `held` it lets everybody wait before it says yes to the mail's first line."""

    port: int = 0
    taken: list[EmailMessage] = field(default_factory=list)
    asked: threading.Event = field(default_factory=threading.Event)
    open: threading.Event = field(default_factory=threading.Event)
    answers: list[str] = field(default_factory=list)

    async def handle_MAIL(self, _server: Any, session: Any, envelope: Any, address: str, options: list[str]) -> str:
        """Wait while it is held, without keeping other connections waiting."""
        self.asked.set()
        while not self.open.is_set():
            await asyncio.sleep(0.02)
        envelope.mail_from = address
        envelope.mail_options.extend(options)
        return "250 OK"

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:
        """Take a mail, unless another answer is waiting to be given."""
        if self.answers:
            return self.answers.pop(0)
        parsed = message_from_bytes(envelope.content, policy=policy.default)
        assert isinstance(parsed, EmailMessage)
        self.taken.append(parsed)
        return "250 Taken"


@contextmanager
def a_mail_server(*, held: bool = False) -> Iterator[Mailbox]:
    """Run a mail server on a free port."""
    mailbox = Mailbox()
    if not held:
        mailbox.open.set()
    # Chosen beforehand: the controller looks for its own server at the port it was given.
    mailbox.port = free_port()
    controller = Controller(mailbox, hostname="127.0.0.1", port=mailbox.port)
    controller.start()
    try:
        yield mailbox
    finally:
        mailbox.open.set()
        controller.stop()


@dataclass
class Call:
    """A call of the web hook as received."""

    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    """What a web hook's receiver got, and what it answers: each of `answers` once, then 204."""

    address: str = ""
    calls: list[Call] = field(default_factory=list)
    answers: list[tuple[int, dict[str, str]]] = field(default_factory=list)


@contextmanager
def a_receiver() -> Iterator[Receiver]:
    """Run a receiver of web hooks on a free port."""
    receiver = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            receiver.calls.append(Call(self.path, dict(self.headers.items()), body))
            status, headers = receiver.answers.pop(0) if receiver.answers else (204, {})
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name, value)
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    receiver.address = f"http://127.0.0.1:{server.server_port}/told?rig=1"
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
