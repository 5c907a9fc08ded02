"""The product as a whole: started, answering, stopped; with a database, files and port of its own."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.architecture.source import ROOT

PATIENCE_SECONDS = 90


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="module")
def surroundings(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Variables of an embedded product that is ready to start: tables made, static files gathered."""
    kept = {name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "REDIS_URL"}}
    values = {
        **kept,
        "DJANGO_SETTINGS_MODULE": "config.settings.embedded",
        "WELLHOLD_VAR": str(tmp_path_factory.mktemp("var") / "of its own"),
        "WELLHOLD_PORT": str(free_port()),
    }
    for command in (["migrate", "--verbosity", "0"], ["collectstatic", "--noinput", "--verbosity", "0"]):
        subprocess.run([sys.executable, "manage.py", *command], cwd=ROOT, env=values, check=True)
    return values


Start = Callable[[], subprocess.Popen[str]]


@pytest.fixture
def start(surroundings: dict[str, str], tmp_path: Path) -> Iterator[Start]:
    """Start the product; whatever a test leaves running is ended."""
    started: list[subprocess.Popen[str]] = []

    def starting() -> subprocess.Popen[str]:
        with (tmp_path / "errors").open("a") as errors:
            child = subprocess.Popen(
                [sys.executable, "-m", "config.start"],
                cwd=ROOT,
                env=surroundings,
                stdout=subprocess.PIPE,
                stderr=errors,
                text=True,
            )
        started.append(child)
        return child

    yield starting
    for child in started:
        if child.poll() is None:
            child.terminate()
        child.communicate(timeout=PATIENCE_SECONDS)


def wait_for_greeting(child: subprocess.Popen[str]) -> str:
    """Read what is printed until the line that says how to stop."""
    assert child.stdout is not None
    printed = ""
    for line in child.stdout:
        printed += line
        if "Ctrl-C" in line:
            return printed
    raise AssertionError(f"ended without a greeting (exit {child.wait()}): {printed}")


def fetch(address: str) -> int:
    with urllib.request.urlopen(address, timeout=PATIENCE_SECONDS) as answer:
        return int(answer.status)


def children_of(pid: int) -> list[int]:
    listed = subprocess.run(["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False)
    return [int(child) for child in listed.stdout.split()]


def is_running(pid: int) -> bool:
    state = subprocess.run(["ps", "-o", "stat=", "-p", str(pid)], capture_output=True, text=True, check=False).stdout
    return bool(state.strip()) and not state.startswith("Z")


def wait_until_gone(pids: list[int]) -> None:
    deadline = time.monotonic() + PATIENCE_SECONDS
    while any(is_running(pid) for pid in pids):
        assert time.monotonic() < deadline, f"still running: {[pid for pid in pids if is_running(pid)]}"
        time.sleep(0.1)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_greets_answers_and_stops_everything_when_asked(
    start: Start, surroundings: dict[str, str], tmp_path: Path, number: int
):
    product = start()
    address = f"http://127.0.0.1:{surroundings['WELLHOLD_PORT']}"
    said = wait_for_greeting(product)
    assert f"running at {address}" in said
    assert f"Certificates made now carry {address}" in said
    assert "set PUBLIC_ADDRESS" in said
    assert fetch(f"{address}/healthz") == 200
    assert fetch(f"{address}/sign-in/") == 200
    assert fetch(f"{address}/static/bokeh/bokeh.min.js") == 200
    with pytest.raises(urllib.error.HTTPError, match="404"):
        fetch(f"{address}/no-such-page/")

    children = children_of(product.pid)
    assert len(children) == 2
    product.send_signal(number)
    assert product.wait(PATIENCE_SECONDS) == 0
    wait_until_gone(children)
    with pytest.raises(urllib.error.URLError):
        fetch(f"{address}/healthz")
    assert "Traceback" not in (tmp_path / "errors").read_text()


def test_it_says_clearly_when_the_port_is_taken(start: Start, surroundings: dict[str, str], tmp_path: Path):
    with socket.socket() as taken:
        # The product of an earlier test listened here; its closed connections do not count as somebody else's.
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        taken.bind(("127.0.0.1", int(surroundings["WELLHOLD_PORT"])))
        taken.listen()
        assert start().wait(PATIENCE_SECONDS) == 1
    said = (tmp_path / "errors").read_text()
    assert f"Port {surroundings['WELLHOLD_PORT']} on 127.0.0.1 cannot be used" in said
    assert "Set WELLHOLD_PORT" in said
    assert "Traceback" not in said


def test_it_ends_with_an_error_when_one_part_ends_by_itself(start: Start, tmp_path: Path):
    product = start()
    wait_for_greeting(product)
    web, worker = children_of(product.pid)
    os.kill(worker, signal.SIGKILL)
    assert product.wait(PATIENCE_SECONDS) == 1
    assert "The worker ended by itself" in (tmp_path / "errors").read_text()
    wait_until_gone([web])


def test_its_parts_end_even_when_it_is_killed_outright(start: Start):
    product = start()
    wait_for_greeting(product)
    children = children_of(product.pid)
    product.kill()
    wait_until_gone(children)


def test_what_it_keeps_is_closed_to_others(surroundings: dict[str, str]):
    var = Path(surroundings["WELLHOLD_VAR"])
    assert var.stat().st_mode & 0o077 == 0
    assert (var / "secret-key").stat().st_mode & 0o077 == 0
