"""What of a record is sealed, or would be: read by pages and plots."""

import json
from datetime import datetime

from tests_app.documents.content import Content
from tests_app.documents.snapshot import content_of
from tests_app.models import Record


def content_shown(record: Record, at: datetime) -> Content | None:
    """Return the sealed content, or what would be sealed now; None for a draft that is not concluded."""
    if record.frozen_at is not None:
        content: Content = json.loads(record.content)
        return content
    if record.concluded_at is None:
        return None
    record.sealed_at = at  # only in memory: a draft shown as it would be sealed
    return content_of(record)
