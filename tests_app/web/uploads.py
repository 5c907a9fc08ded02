"""Uploads: too large a file is refused by what it says of its size, before a byte of it is read."""

from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import Concatenate, Final, ParamSpec

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import FileUploadHandler, StopUpload
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.csrf import csrf_exempt, csrf_protect

from calcs.sizes import MEGABYTE, megabytes

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]
Refusal = Callable[Concatenate[HttpRequest, P], HttpResponse]

MOST_BYTES: Final[int] = settings.WELLHOLD_MAX_RECORDING_BYTES
"""Largest file taken, the same here as where it is read."""
LIMIT: Final = {"data-max-bytes": MOST_BYTES, "data-megabyte": MEGABYTE}
"""What a file input tells the page's script of it."""
_ENVELOPE_BYTES: Final = 256_000


def too_large_words(most: int = MOST_BYTES) -> str:
    """Return what is said of a file over the limit."""
    return (
        f"The file is larger than the {megabytes(most)} taken here, so it was not read. "
        "Export a shorter time or a lower rate from the recorder, or photograph the chart at a lower resolution."
    )


class _Limit(FileUploadHandler):
    """Stops an upload that goes on past the limit, whatever length it claimed."""

    def __init__(self, request: HttpRequest, most: int) -> None:
        super().__init__(request)
        self.most = most
        self.seen = 0

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        self.seen += len(raw_data)
        if self.seen > self.most:
            raise StopUpload(connection_reset=True)
        return raw_data

    def file_complete(self, file_size: int) -> UploadedFile | None:
        return None


def limited_upload(refusal: Refusal[P], most: int = MOST_BYTES) -> Callable[[View[P]], View[P]]:
    """Answer an upload over `most` bytes with `refusal` before its body is read.

    The check for a forged request reads the body, so it has to wait until the size is known: hence exempt
    outside and protected inside.
    """

    def decorate(view: View[P]) -> View[P]:
        protected = csrf_protect(view)

        @csrf_exempt
        @wraps(view)
        def limited(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            if _declared(request) > most + _ENVELOPE_BYTES:
                return refusal(request, *args, **kwargs)
            request.upload_handlers.insert(0, _Limit(request, most))
            try:
                return protected(request, *args, **kwargs)
            except RequestDataTooBig:
                return refusal(request, *args, **kwargs)

        return limited

    return decorate


def too_large(request: HttpRequest, back: Callable[[], str]) -> HttpResponse:
    """Answer an upload over the limit, unread; `back` says where it came from, asked only of a signed-in person."""
    where = back() if request.user.is_authenticated else ""
    context = {"words": too_large_words(), "back": where}
    return render(request, "tests_app/too_large.html", context, status=HTTPStatus.REQUEST_ENTITY_TOO_LARGE)


def _declared(request: HttpRequest) -> int:
    try:
        return int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return 0
