"""Times as people on a rig type them: on the rig's clock, and spans of a recording in hours, minutes and seconds."""

import re
from datetime import datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError

from accounts.presentation import zone_label
from equipment.web import fields

_MINUTE: Final = 60
_HOUR: Final = 3600
_SPAN: Final = re.compile(r"(?:(?:([0-9]{1,3}):)?([0-9]{1,4}):)?([0-9]{1,6}(?:[.,][0-9]{1,3})?)")


class RigTimeField(fields.RigTimeField):
    """A moment on the rig's clock, to the second where a hold is timed; can say its zone beside the field."""

    def __init__(self, zone: ZoneInfo, *, seconds: bool = False, **options: Any) -> None:
        self.written = "%Y-%m-%dT%H:%M:%S" if seconds else "%Y-%m-%dT%H:%M"
        attributes = {"type": "datetime-local", "class": "medium", **({"step": "1"} if seconds else {})}
        options.setdefault("widget", forms.DateTimeInput(attrs=attributes, format=self.written))
        super().__init__(zone, **options)

    def prepare_value(self, value: Any) -> Any:
        """Return the moment as the rig's clock shows it, for the input."""
        if isinstance(value, datetime) and value.tzinfo is not None:
            return value.astimezone(self.zone).strftime(self.written)
        return value

    def zone_note(self, at: datetime) -> str:
        """Return the zone in words, as it stands at the moment."""
        return f"{self.zone.key}, {zone_label(at.astimezone(self.zone))}"


def after(moment: datetime, earliest: datetime) -> datetime:
    """Return a moment of an hour shown twice as its later one, when only that lies after `earliest`.

    >>> chicago = ZoneInfo("America/Chicago")
    >>> began = datetime(2026, 11, 1, 1, 40, tzinfo=chicago)
    >>> after(datetime(2026, 11, 1, 1, 20, tzinfo=chicago), began).isoformat()
    '2026-11-01T01:20:00-06:00'
    """
    utc = ZoneInfo("UTC")
    if moment.astimezone(utc) > earliest.astimezone(utc):
        return moment
    later = moment.replace(fold=1)
    return later if later.astimezone(utc) > earliest.astimezone(utc) else moment


class SpanField(forms.CharField):
    """Time into a recording: ``1:02:30``, ``62:30`` or plain seconds; cleans to seconds."""

    default_error_messages = {
        "span": "This is not a time into the recording. Write hours:minutes:seconds, such as 0:12:30, or seconds."
    }

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput({"class": "short", "autocomplete": "off"}))
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> Any:
        """Return seconds, or None when nothing is given."""
        text = super().to_python(value)
        if not text:
            return None
        found = _SPAN.fullmatch(text.strip())
        if found is None:
            raise ValidationError(self.error_messages["span"], code="span")
        hours, minutes, seconds = found.groups()
        return int(hours or 0) * _HOUR + int(minutes or 0) * _MINUTE + float(seconds.replace(",", "."))

    def prepare_value(self, value: Any) -> Any:
        """Return seconds as they are written: ``0:12:30``."""
        return span_text(value) if isinstance(value, int | float) else value


def span_text(seconds: float) -> str:
    """Return seconds as hours, minutes and seconds.

    >>> span_text(750), span_text(3725.5)
    ('0:12:30', '1:02:05.5')
    """
    tenths = round(seconds * 10)
    whole, tenth = divmod(tenths, 10)
    text = f"{whole // _HOUR}:{whole // _MINUTE % _MINUTE:02d}:{whole % _MINUTE:02d}"
    return f"{text}.{tenth}" if tenth else text


def lasts(seconds: float) -> str:
    """Return how long something lasts, in words: ``5 min``, ``3 h 26 min``."""
    rest = timedelta(seconds=round(seconds))
    minutes, left = divmod(int(rest.total_seconds()), _MINUTE)
    hours, minutes = divmod(minutes, _MINUTE)
    parts = [(hours, "h"), (minutes, "min"), (left, "s")]
    return " ".join(f"{count} {unit}" for count, unit in parts if count) or "0 s"
