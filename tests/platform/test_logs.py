"""What the console shows of requests that were refused, and of those that failed."""

import logging
import sys

import pytest

from config.logs import RefusalsInOneLine


def logged(status: int | None) -> str:
    try:
        raise PermissionError("a role that may not")
    except PermissionError:
        record = logging.LogRecord(
            "django.request", logging.WARNING, __file__, 1, "Refused: %s", ("/x",), sys.exc_info()
        )
    if status is not None:
        record.status_code = status
    assert RefusalsInOneLine().filter(record)
    return logging.Formatter("%(message)s").format(record)


@pytest.mark.parametrize("status", [403, 404, 422])
def test_a_refused_request_is_told_in_one_line(status: int):
    assert logged(status) == "Refused: /x"


@pytest.mark.parametrize("status", [500, None])
def test_a_fault_of_the_program_keeps_its_traceback(status: int | None):
    assert "Traceback" in logged(status)
