"""How the program's log reads on a console."""

import logging
from http import HTTPStatus
from typing import Final

_OURS: Final = HTTPStatus.INTERNAL_SERVER_ERROR


class RefusalsInOneLine(logging.Filter):
    """Leaves the traceback out where a request was refused: a 403 or 404 is an answer, not a fault of the program."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Let every record through, the traceback of a refused request taken off."""
        status = getattr(record, "status_code", None)
        if isinstance(status, int) and status < _OURS:
            record.exc_info = None
            record.exc_text = None
        return True
