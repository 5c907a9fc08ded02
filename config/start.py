"""Starts the embedded product: `python -m config.start` runs the web server and the worker until it is told to stop.

Both are children of this process. When either ends by itself the other is stopped too and this exits with 1: half a
product that looks whole would let deadlines pass unnoticed.
"""

import ctypes
import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Final

from config.demo import demo_logins
from config.environment import BadEnvironment, Environment

BASE: Final = Path(__file__).resolve().parents[1]
START_SECONDS: Final = 120.0
STOP_SECONDS: Final = 15.0
LOOK_EVERY_SECONDS: Final = 0.2
WEB_THREADS: Final = 8
STOPPED_BY_SIGNAL: Final = 0
# Celery's five lines against running as root would hide the address and the sign-ins. They are about queues that carry
# pickled objects; ours carries JSON only.
ROOT_WARNING_OFF: Final = "ignore:You're running the worker with superuser privileges"


# Linux's number of the call that has a child signalled when its parent dies, by whatever means (prctl(2)).
_SET_PARENT_DEATH_SIGNAL: Final = 1


def _end_with_parent() -> None:
    """Have the kernel stop this child when the parent is killed outright and cannot stop it itself."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(_SET_PARENT_DEATH_SIGNAL, signal.SIGTERM)


class CannotStart(Exception):
    """The product did not come up; the text says why."""


@dataclass
class Children:
    """The processes this one started, by the name shown for them."""

    running: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)

    def start(self, name: str, *arguments: str) -> None:
        """Start a Python module as a child.

        Each child leads a group of its own: a Ctrl-C at the terminal reaches this process alone, which then stops the
        children in order and waits for them.
        """
        self.running[name] = subprocess.Popen(
            [sys.executable, "-m", *arguments],
            cwd=BASE,
            env={**os.environ, "PYTHONWARNINGS": ROOT_WARNING_OFF},
            stdin=subprocess.DEVNULL,
            start_new_session=True,
            preexec_fn=_end_with_parent,
        )

    def ended(self) -> str | None:
        """Return what to say of the first child that ended by itself, or None while all run."""
        for name, child in self.running.items():
            if child.poll() is not None:
                return f"The {name} ended by itself (exit {child.returncode})."
        return None

    def stop(self) -> None:
        """Ask all to stop, wait, and end by force what is left of them: a worker that died leaves its pool behind."""
        for child in self.running.values():
            if child.poll() is None:
                child.terminate()
        deadline = time.monotonic() + STOP_SECONDS
        for child in self.running.values():
            with suppress(subprocess.TimeoutExpired):
                child.wait(timeout=max(0.0, deadline - time.monotonic()))
            with suppress(ProcessLookupError):
                os.killpg(child.pid, signal.SIGKILL)
            child.wait()


class Stop(Exception):
    """Raised by the signals that ask for the end."""


def _ask_to_stop(_number: int, _frame: FrameType | None) -> None:
    raise Stop


def refuse_taken_port(host: str, port: int) -> None:
    """Say clearly when somebody else listens on the port.

    Raises:
        CannotStart: the port cannot be had.
    """
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            remedy = "Set WELLHOLD_PORT to another number, such as make run WELLHOLD_PORT=8010."
            raise CannotStart(f"Port {port} on {host} cannot be used ({error.strerror}). {remedy}") from error


def start_children(children: Children, host: str, port: int) -> None:
    """Start the web server and the worker with its timetable."""
    children.start(
        "web server",
        *("gunicorn", "config.wsgi", "--bind", f"{host}:{port}", "--workers", "1", "--threads", str(WEB_THREADS)),
        *("--timeout", "120", "--log-level", "warning", "--no-control-socket"),
    )
    children.start(
        "worker",
        "celery",
        "--quiet",
        "--app",
        "config",
        "worker",
        "--beat",
        "--concurrency",
        "1",
        "--loglevel",
        "WARNING",
    )


def worker_heard(address: str) -> datetime | None:
    """Return when the worker was last heard, as the web server tells it; None while it does not answer or never was."""
    try:
        with urllib.request.urlopen(f"{address}/healthz", timeout=5) as answer:
            heard = json.load(answer)["worker_heard"]
    except (urllib.error.URLError, TimeoutError):
        return None
    return datetime.fromisoformat(heard) if heard else None


def wait_until_whole(children: Children, address: str, started: datetime) -> None:
    """Wait for the web server to answer and to have heard the worker since the start.

    Raises:
        CannotStart: a child ended, or not all was there in time.
    """
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline:
        ended = children.ended()
        if ended:
            raise CannotStart(ended)
        heard = worker_heard(address)
        if heard is not None and heard >= started:
            return
        time.sleep(LOOK_EVERY_SECONDS)
    raise CannotStart(f"Web server and worker were not both ready within {START_SECONDS:.0f} seconds.")


def printed_address(env: Environment, address: str) -> list[str]:
    """Return what to say of the address that certificates made now carry for ever; nothing once one was chosen."""
    if env.text("PUBLIC_ADDRESS"):
        return []
    return [
        f"Certificates made now carry {address} as the address to check them at: it works on this machine alone.",
        "Before you hand one out, set PUBLIC_ADDRESS to the address its readers reach, such as https://host.",
        "",
    ]


def greeting(address: str, env: Environment) -> str:
    """Return the address, the demo's sign-ins and what is printed on certificates, as said once the product runs."""
    lines = [f"\nWellhold is running at {address}", ""]
    logins = demo_logins()
    if logins:
        lines.append("Demo sign-ins (user / password):")
        lines += [f"  {login['user']:<14} {login['password']:<22} {login.get('role', '')}" for login in logins]
        lines.append("")
    return "\n".join([*lines, *printed_address(env, address), "Ctrl-C stops it."])


def run(host: str, port: int, env: Environment) -> int:
    """Start everything, wait for a signal or a child's end, stop everything; return the exit code."""
    refuse_taken_port(host, port)
    children = Children()
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, _ask_to_stop)
    started = datetime.now(UTC)
    try:
        start_children(children, host, port)
        wait_until_whole(children, f"http://{host}:{port}", started)
        print(greeting(f"http://{host}:{port}", env), flush=True)
        while (ended := children.ended()) is None:
            time.sleep(LOOK_EVERY_SECONDS)
        raise CannotStart(ended)
    except Stop:
        print("\nStopping.", flush=True)
        return STOPPED_BY_SIGNAL
    finally:
        # A second Ctrl-C must not leave children behind.
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_IGN)
        children.stop()


def main() -> int:
    """Read where to listen from the environment and run."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.embedded")
    env = Environment()
    host = env.text("WELLHOLD_HOST", "127.0.0.1")
    port = env.whole_number("WELLHOLD_PORT", default=8000, lowest=1, highest=65535)
    try:
        env.refuse_problems()
        return run(host, port, env)
    except (CannotStart, BadEnvironment) as refusal:
        print(refusal, file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main())
