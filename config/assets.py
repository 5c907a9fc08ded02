"""Finds the plot library's JavaScript inside its own wheel: nothing fetched from outside, nothing copied by hand."""

from collections.abc import Iterator
from typing import Any, Final

from bokeh.util.paths import static_path
from django.contrib.staticfiles.finders import BaseFinder
from django.core.files.storage import FileSystemStorage

PREFIX: Final = "bokeh"
_WANTED: Final = ("bokeh.min.js", "bokeh-widgets.min.js", "bokeh-tables.min.js", "bokeh-gl.min.js", "bokeh-api.min.js")


class PrefixedStorage(FileSystemStorage):
    """A folder whose files are collected below a name of our own; `prefix` is what collectstatic asks for."""

    prefix = PREFIX


class BokehFinder(BaseFinder):
    """Serves the minified scripts of Bokeh's wheel as `bokeh/<name>`; its sources and maps stay where they are."""

    def __init__(self, *_: Any, **__: Any) -> None:
        self.storage = PrefixedStorage(location=static_path() / "js")

    def find(self, path: str, find_all: bool = False, **_: Any) -> Any:
        """Return where the asked-for script is, or an empty list."""
        prefix, _slash, name = path.partition("/")
        if prefix != PREFIX or name not in _WANTED:
            return []
        found = self.storage.path(name)
        return [found] if find_all else found

    def list(self, ignore_patterns: Any) -> Iterator[tuple[str, FileSystemStorage]]:
        """Yield each script with the storage it stands in."""
        for name in _WANTED:
            yield name, self.storage
