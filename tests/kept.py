"""A world that is built once for all tests of a file, each of which finds it as it was built.

Building one takes far longer than most tests of it. Its rows lie in a transaction around each test's own, which is
rolled back as ever; its objects are handed on as copies, as `world` of tests/tests_app/conftest.py shows.
"""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TypeVar

from django.db import transaction
from django.test import override_settings

Built = TypeVar("Built")
Unblocked = Callable[[], AbstractContextManager[None]]


class Keep:
    """Calls what builds rows to be kept, with the database open to it and its files in a folder of their own."""

    def __init__(self, files: Path, unblocked: Unblocked) -> None:
        self.files = files
        self._unblocked = unblocked

    def __call__(self, build: Callable[[], Built]) -> Built:
        with self._unblocked(), override_settings(MEDIA_ROOT=self.files):
            return build()


@contextmanager
def keeping(files: Path, unblocked: Unblocked) -> Iterator[Keep]:
    """Keep rows to the end of the block. No test may end or empty the database's transactions inside it."""
    around = transaction.atomic()
    around._from_testcase = True  # type: ignore[attr-defined] # durable blocks may lie inside, as inside Django's own
    with unblocked():
        around.__enter__()
    yield Keep(files, unblocked)
    with unblocked():
        transaction.set_rollback(True)
        around.__exit__(None, None, None)
