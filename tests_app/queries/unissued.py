"""Sealed records whose paper was never made."""

from datetime import datetime, timedelta
from typing import Final

from tests_app.models import Record

# Long enough for the order given at signing to be carried out; only what was lost is ordered again.
USUALLY_MADE_WITHIN: Final = timedelta(minutes=5)


def sealed_without_paper(at: datetime) -> list[int]:
    """Return the keys of records sealed a while before `at` that have no certificate or report, oldest first."""
    late = Record.objects.filter(sealed_at__lt=at - USUALLY_MADE_WITHIN, certificate__isnull=True)
    return list(late.order_by("sealed_at").values_list("pk", flat=True))
