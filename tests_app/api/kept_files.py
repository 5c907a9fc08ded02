"""Files kept as received, given out as downloads."""

from django.http import HttpResponse
from django.utils.http import content_disposition_header

from equipment import files
from equipment.api.problems import CONFLICTS
from equipment.errors import Refused
from tests_app.errors import RecordIsSealed, SignedAlready


class FileNotWhole(Refused):
    """A file on record is not in the store as it was kept."""

    def __init__(self, error: Exception) -> None:
        super().__init__("", str(error), "Restore it from a backup.")


CONFLICTS.extend([FileNotWhole, RecordIsSealed, SignedAlready])


def as_file(sha256: str, name: str) -> HttpResponse:
    """Return a kept file as a download, never as something a browser opens. Raises FileNotWhole."""
    try:
        content = files.fetch(sha256)
    except (files.FileMissing, files.FileAltered) as error:
        raise FileNotWhole(error) from error
    return HttpResponse(
        content,
        content_type="application/octet-stream",
        headers={
            "Content-Disposition": content_disposition_header(True, name) or "attachment",
            "X-Content-Type-Options": "nosniff",
            "Content-Security-Policy": "default-src 'none'; sandbox",
            "Cache-Control": "private, max-age=0, must-revalidate",
        },
    )
