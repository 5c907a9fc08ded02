"""What every test may ask for: a database whose guards can be cleared, a kept world, a worker, a browser."""

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any, Final

import pytest
import redis
from celery.contrib.testing.worker import start_worker
from django.core.management.commands import flush
from django.db import connections
from playwright.sync_api import Browser, ConsoleMessage, Page, Playwright, Request, sync_playwright

from config.celery import app as celery_app
from tests import migrated
from tests.kept import Keep, keeping
from trail import guards

CHROMIUM: Final = os.environ.get("WELLHOLD_CHROMIUM", "/usr/bin/chromium")
# Chromium otherwise asks its maker's hosts for lists and updates at every start.
CHROMIUM_ARGUMENTS: Final = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-sync",
    "--disable-component-update",
    "--disable-background-networking",
)
DESK: Final = {"width": 1440, "height": 900}
PHONE: Final = {"width": 390, "height": 844}
_DATABASE_FIXTURES: Final = frozenset(
    {"db", "transactional_db", "django_db_reset_sequences", "django_db_serialized_rollback", "live_server", "client"}
)


# One process loads the demo for its tests while the other loads the one all browsers share: neither waits.
_SLOWEST_FIRST: Final = ("demo", "browser", "platform", "documents", "tests_app")


def _turn(item: pytest.Item) -> int:
    """Return when a test has its turn: files of minutes first, or one process would end long after the other."""
    folder = item.path.relative_to(Path(__file__).parent).parts[0]
    return _SLOWEST_FIRST.index(folder) if folder in _SLOWEST_FIRST else len(_SLOWEST_FIRST)


_SHOWN: Final = ("tests/tests_app/web/", "tests/accounts/", "tests/documents/", "tests/demo/")


def _is_about_what_is_shown(item: pytest.Item) -> bool:
    """Tell whether a test is about pages or papers: what they read is asked of PostgreSQL by the tests beneath them."""
    name = item.path.as_posix()
    return any(folder in name for folder in _SHOWN) or item.path.stem.endswith("_pages")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let the slowest folders come first; mark what uses the database, and of that what runs on PostgreSQL too."""
    items.sort(key=_turn)
    for item in items:
        uses = _DATABASE_FIXTURES.intersection(getattr(item, "fixturenames", ()))
        if uses or item.get_closest_marker("django_db"):
            item.add_marker(pytest.mark.touches_database)
            if not _is_about_what_is_shown(item):
                item.add_marker(pytest.mark.on_both_databases)


def missing_service(what: str) -> None:
    """Skip a test for want of a service; where all of them are promised, fail instead."""
    if os.environ.get("WELLHOLD_ALL_SERVICES"):
        pytest.fail(f"{what}, though this run promises every service.", pytrace=False)
    pytest.skip(f"{what}; make test provides it.")


@pytest.fixture(scope="session")
def django_db_keepdb(django_db_keepdb: bool, django_db_modify_db_settings: None) -> bool:
    """Tell that the database is there already, where it begins as a copy of one migrated before."""
    return django_db_keepdb or migrated.begun_from_copy(connections["default"])


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> None:
    with django_db_blocker.unblock():
        migrated.keep_copy(connections["default"])


@pytest.fixture(autouse=True, scope="session")
def _guards_lifted_for_flush() -> Iterator[None]:
    """Lift the guards just before the flush that ends a transactional test, and set them again after it.

    That flush deletes (SQLite) or truncates (PostgreSQL) every table, which is exactly what the guards refuse.
    """
    original = flush.Command.handle

    def handle(command: flush.Command, **options: Any) -> None:
        connection = connections[options["database"]]
        assert not connection.in_atomic_block, "A file that keeps a world has no transactional tests."
        guards.lift(connection)
        original(command, **options)
        guards.install(connection)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(flush.Command, "handle", handle)
        yield


@pytest.fixture(scope="module")
def keep(django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Keep]:
    """Builds what all tests of this file find in the database; it goes when the last of them is over."""
    with keeping(tmp_path_factory.mktemp("kept"), django_db_blocker.unblock) as keep:
        yield keep


@pytest.fixture(autouse=True)
def _files_of_its_own(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Keep the files a test stores away from every other test's; those of a kept world are there as a copy."""
    if "touches_database" not in request.keywords:
        return
    files = tmp_path_factory.mktemp("files")
    if "keep" in request.fixturenames:
        shutil.copytree(request.getfixturevalue("keep").files, files, dirs_exist_ok=True)
    request.getfixturevalue("settings").MEDIA_ROOT = files


@pytest.fixture(scope="session")
def _redis_prefix() -> Iterator[str]:
    """Yield the prefix of this run's keys on Redis and remove them in the end."""
    address = celery_app.conf.broker_url
    if not str(address).startswith("redis"):
        missing_service("REDIS_URL is not set")
    prefix = celery_app.conf.broker_transport_options["global_keyprefix"]
    yield prefix
    server = redis.Redis.from_url(address)
    for key in server.scan_iter(f"{prefix}*"):
        server.delete(key)
    server.close()


@pytest.fixture
def worker(transactional_db: None, _redis_prefix: str) -> Iterator[None]:
    """Run a real worker on a real Redis beside the test; what is enqueued on commit is done.

    The queue is emptied first: what tests without a worker sent there is not this one's business.
    """
    celery_app.control.purge()
    with start_worker(celery_app, pool="solo", perform_ping_check=False, loglevel="WARNING"):
        yield


@pytest.fixture(scope="session")
def _playwright() -> Iterator[Playwright]:
    # Playwright's synchronous calls keep an event loop running in this thread, which Django takes for asynchronous
    # code and refuses the database to; there is none.
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        with sync_playwright() as started:
            yield started


@pytest.fixture(scope="session")
def chromium(_playwright: Playwright) -> Iterator[Browser]:
    """A headless Chromium of the operating system."""
    if not Path(CHROMIUM).exists():
        missing_service(f"{CHROMIUM} is not there")
    browser = _playwright.chromium.launch(executable_path=CHROMIUM, args=list(CHROMIUM_ARGUMENTS))
    yield browser
    browser.close()


@pytest.fixture
def allowed_console_errors() -> list[str]:
    """Parts of console errors a test expects, such as "status of 400" for a refused form."""
    return []


@pytest.fixture
def served_at(live_server: Any) -> str:
    """The address of the server under test; tests/browser puts the whole product there."""
    return str(live_server.url)


@pytest.fixture
def open_page(chromium: Browser, served_at: str, allowed_console_errors: list[str]) -> Any:
    """Return a context manager that opens a page of the given size, and fails on what no page may do.

    That is: an error on the console, an uncaught exception, or a request to anything but the server under test.
    """

    @contextmanager
    def opened(viewport: dict[str, int]) -> Iterator[Page]:
        context = chromium.new_context(base_url=served_at, viewport=viewport)  # type: ignore[arg-type]
        page = context.new_page()
        faults: list[str] = []
        page.on("console", lambda message: faults.extend(_console_fault(message, allowed_console_errors)))
        page.on("pageerror", lambda error: faults.append(f"uncaught: {error}"))
        page.on("request", lambda request: faults.extend(_request_fault(request, served_at)))
        try:
            yield page
        finally:
            context.close()
        assert faults == []

    return opened


def _console_fault(message: ConsoleMessage, allowed: list[str]) -> list[str]:
    if message.type != "error" or any(part in message.text for part in allowed):
        return []
    return [f"console: {message.text}"]


def _request_fault(request: Request, server: str) -> list[str]:
    if request.url.startswith((f"{server}/", "data:", "blob:")):
        return []
    return [f"left the server: {request.url}"]


OpenPage = Callable[[dict[str, int]], AbstractContextManager[Page]]


@pytest.fixture
def page(open_page: OpenPage) -> Iterator[Page]:
    """A page on a desk's screen."""
    with open_page(DESK) as opened:
        yield opened


@pytest.fixture
def phone(open_page: OpenPage) -> Iterator[Page]:
    """A page on a phone's screen."""
    with open_page(PHONE) as opened:
        yield opened
