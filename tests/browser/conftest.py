"""The whole product on the demo, as `make run` starts it: its own SQLite file, its own worker on a queue of files.

The demo is loaded once a run and copied for each process that serves it, so that a test never meets another run's rows.
"""

import fcntl
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path
from typing import Any, Final

import pytest
from playwright.sync_api import Page, expect

from config.demo import demo_logins
from tests.conftest import CHROMIUM, missing_service

BASE: Final = Path(__file__).resolve().parents[2]
READY_WITHIN_SECONDS: Final = 180.0
STOPPED_WITHIN_SECONDS: Final = 30.0
QUEUES: Final = ("queue", "queue-control")

# A page that takes long on a busy machine of two cores is no wrong page.
expect.set_options(timeout=20_000)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what drives the product in a browser."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


def environment(var: Path, **more: str) -> dict[str, str]:
    """Return the environment of a product that keeps everything in `var` and hears nothing of this run's settings."""
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG", "TZ") if name in os.environ}
    return {**kept, "DJANGO_SETTINGS_MODULE": "config.settings.embedded", "WELLHOLD_VAR": str(var), **more}


def free_port() -> int:
    """Return a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def started(var: Path, log: Path, **more: str) -> Iterator[str]:
    """Serve the product from `var` and yield its address; in the end stop web server and worker."""
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    with log.open("wb") as said:
        product = subprocess.Popen(
            [sys.executable, "-m", "config.start"],
            cwd=BASE,
            env=environment(var, WELLHOLD_PORT=str(port), **more),
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
        )
    try:
        _wait_until_it_greets(product, address, log)
        yield address
    finally:
        product.terminate()
        product.wait(timeout=STOPPED_WITHIN_SECONDS)


def _wait_until_it_greets(product: subprocess.Popen[bytes], address: str, log: Path) -> None:
    give_up_at = time.monotonic() + READY_WITHIN_SECONDS
    while address not in log.read_text(encoding="utf-8"):
        if product.poll() is not None or time.monotonic() > give_up_at:
            pytest.fail(f"The product did not start:\n{log.read_text(encoding='utf-8')}", pytrace=False)
        time.sleep(0.1)


@pytest.fixture(scope="session")
def loaded_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a product with the demo loaded, to be copied; certificates ordered by the load are left unmade.

    Loading takes half a minute, so it is done once for all processes of a run. For who writes such a test,
    WELLHOLD_LOADED_DEMO names a folder that is kept from run to run.
    """
    if not Path(CHROMIUM).exists():
        missing_service(f"{CHROMIUM} is not there")
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    var = Path(os.environ.get("WELLHOLD_LOADED_DEMO", shared / "demo"))
    with (shared / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        _load_demo(var)
    return var


def _load_demo(var: Path) -> None:
    prepared = subprocess.run(
        [sys.executable, "-m", "config.prepare"],
        cwd=BASE,
        env=environment(var),
        capture_output=True,
        text=True,
        check=False,
    )
    assert prepared.returncode == 0, prepared.stderr
    for queue in QUEUES:
        shutil.rmtree(var / queue, ignore_errors=True)


@pytest.fixture(scope="session")
def copied_demo(loaded_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[], Path]:
    """Return what makes another copy of the loaded demo."""

    def copied() -> Path:
        return shutil.copytree(loaded_demo, tmp_path_factory.mktemp("product") / "var")

    return copied


_running: Final[list[ExitStack]] = []
"""The product shared by the tests of this process, while any of them is still ahead."""


@pytest.fixture(scope="session")
def product(copied_demo: Callable[[], Path]) -> Iterator[str]:
    """The address of the product on the demo, shared by the tests here; each works on elements of its own."""
    var = copied_demo()
    with ExitStack() as until_stopped:
        address = until_stopped.enter_context(started(var, var.parent / "log"))
        _running.append(until_stopped)
        yield address


def pytest_runtest_teardown(nextitem: pytest.Item | None) -> None:
    """Stop the product after the last test here: its worker would take a share of the machine from all others."""
    if nextitem is None or Path(__file__).parent not in nextitem.path.parents:
        while _running:
            _running.pop().close()


@pytest.fixture
def redis_of_its_own(tmp_path: Path) -> Iterator[str]:
    """A Redis with nothing else on it: a worker would otherwise take another run's orders for its own."""
    program = shutil.which("redis-server")
    if program is None:
        missing_service("redis-server is not there")
    port = str(free_port())
    server = subprocess.Popen(
        [str(program), "--bind", "127.0.0.1", "--port", port, "--save", "", "--dir", str(tmp_path)],
        stdout=subprocess.DEVNULL,
    )
    yield f"redis://127.0.0.1:{port}/0"
    server.terminate()
    server.wait(timeout=STOPPED_WITHIN_SECONDS)


@pytest.fixture
def product_over_redis(copied_demo: Callable[[], Path], redis_of_its_own: str) -> Iterator[str]:
    """The address of a product of its own whose orders go over Redis."""
    var = copied_demo()
    with started(var, var.parent / "log", REDIS_URL=redis_of_its_own) as address:
        yield address


@pytest.fixture
def served_at(request: pytest.FixtureRequest) -> str:
    """The product on the demo stands in for the bare test server; over Redis for what is marked `broker`."""
    over_redis = request.node.get_closest_marker("broker")
    return str(request.getfixturevalue("product_over_redis" if over_redis else "product"))


@pytest.fixture
def signed_in(open_page: Callable[..., AbstractContextManager[Page]]) -> Any:
    """Return a context manager that opens a page of a size and signs in one of the demo's people."""

    @contextmanager
    def opened(viewport: dict[str, int], user: str = "supervisor") -> Iterator[Page]:
        with open_page(viewport) as page:
            sign_in(page, user)
            yield page

    return opened


def password_of(user: str) -> str:
    """Return the demo password the greeting prints."""
    return next(login["password"] for login in demo_logins() if login["user"] == user)


def sign_in(page: Page, user: str) -> None:
    """Sign in by the form, as everybody does."""
    page.goto("/sign-in/")
    page.get_by_label("User name").fill(user)
    page.get_by_label("Password").fill(password_of(user))
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "sign-in" not in url)
