"""Waiting for what another thread or process does."""

import threading
from collections.abc import Callable


def wait_for(condition: Callable[[], bool]) -> None:
    """Wait until the condition holds, a minute at most: that is patience, not a measurement."""
    pause = threading.Event()
    for _ in range(600):
        if condition():
            return
        pause.wait(0.1)
    raise AssertionError("it never came")
