"""The certificate of a signed test, the page anybody can check it on, and the files a test was judged from."""

from http import HTTPStatus
from typing import Any, Final, cast
from urllib.parse import quote

from django.core.cache import cache
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from equipment import files
from tests_app.models import Certificate, Record, Recording, RecordingKind
from tests_app.queries import records, verification
from tests_app.queries.corrections import counts_instead_of
from tests_app.web.entry import Visit, signed_in

_SHOWN_INLINE: Final = frozenset({"application/pdf"})
_HASH_LENGTH: Final = 64
_CHECK_SECONDS: Final = 60


@require_GET
@signed_in
def show(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what is known of a certificate: its number, its hash, where it can be checked."""
    certificate = records.certificate_for(request.user, pk)
    visit = Visit.of(request, certificate.record.rig)
    context = {"certificate": certificate, "record": certificate.record}
    return visit.show(request, "tests_app/certificate.html", context)


@require_GET
@signed_in
def pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """Send the certificate as it was issued."""
    certificate: Certificate = records.certificate_for(request.user, pk)
    content = _fetched(certificate.sha256)
    as_file = "download" in request.GET
    return _sent(content, f"{certificate.number}.pdf", "application/pdf", attached=as_file)


@require_GET
@signed_in
def recording_file(request: HttpRequest, pk: int) -> HttpResponse:
    """Send a file of a test as it was received, never to be run or shown by the browser."""
    recording: Recording = records.recording_for(request.user, pk)
    is_text = recording.kind == RecordingKind.SAMPLES
    kind = "text/plain; charset=utf-8" if is_text else "application/octet-stream"
    return _sent(_fetched(recording.sha256), recording.file_name, kind, attached=True)


def _fetched(sha256: str) -> bytes:
    try:
        return files.fetch(sha256)
    except (files.FileMissing, files.FileAltered) as error:
        raise Http404(str(error)) from error


def _sent(content: bytes, name: str, kind: str, *, attached: bool) -> HttpResponse:
    plain = "".join(c for c in name if c.isascii() and (c.isalnum() or c in " ._-()")).strip() or "file"
    how = "attachment" if attached else "inline"
    headers = {
        "Content-Disposition": f"{how}; filename=\"{plain}\"; filename*=UTF-8''{quote(name)}",
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; sandbox" if attached else "frame-ancestors 'self'",
        "Cache-Control": "private, max-age=0, must-revalidate",
    }
    return HttpResponse(content, content_type=kind, headers=headers)


def _checked(record: Record) -> verification.SealCheck:
    """Return the check of a seal, at most once a minute: it reads every file, and anybody may ask."""
    return cast(
        verification.SealCheck,
        cache.get_or_set(f"seal-check-{record.pk}", lambda: verification.check_seal(record), _CHECK_SECONDS),
    )


@require_GET
def verify(request: HttpRequest, sha256: str) -> HttpResponse:
    """Tell anybody who holds a certificate whether a record carries its seal, and no more than the paper says."""
    record = verification.sealed_by_hash(sha256) if len(sha256) == _HASH_LENGTH else None
    if record is None:
        return render(request, "tests_app/verify.html", {"sha256": sha256}, status=HTTPStatus.NOT_FOUND)
    later = counts_instead_of(record)
    checked = _checked(record)
    context: dict[str, Any] = {
        "sha256": record.sha256,
        "record": record,
        "zone": record.rig.time_zone,
        "signatures": record.signatures.order_by("signed_at", "id"),
        "later": later,
        "holds": checked.holds,
        "checks": checked.checks,
        "certificate": getattr(record, "certificate", None),
    }
    return render(request, "tests_app/verify.html", context)
