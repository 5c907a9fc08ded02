"""What the repository as a whole must and must not hold."""

import re
from pathlib import Path
from urllib.parse import unquote

import pytest

from tests.architecture.source import ROOT, tracked_files

# Written in two parts, so that this file does not hold what it forbids.
REGISTRY_HOSTS = tuple(
    a + b for a, b in [("pypi.", "org"), ("python", "hosted.org"), ("npmjs.", "org"), ("deb.", "debian.org")]
)
MACHINE_PATH = re.compile(r"(?<![\w.~/])/(?:root|home/\w+|opt/\w+|Users/\w+|work/\w+)(?:/|\b)")
LINK = re.compile(r"(?<!!)\[[^\]]*\]\(([^)\s]+)\)|!\[[^\]]*\]\(([^)\s]+)\)")
SCRIPT = re.compile(r"<script\b(?P<attributes>[^>]*)>(?P<body>.*?)</script>", re.DOTALL)
HANDLER = re.compile(r"<[^>]*\son[a-z]+\s*=", re.DOTALL)
OUTSIDE = re.compile(r"""(?:src|href|action)\s*=\s*["'](?:https?:)?//""")

TEXTS = [
    path
    for path in tracked_files()
    if path.suffix not in {".png", ".ico", ".pdf", ".woff2", ".otf", ".ttf", ".csv", ".jpg"}
]
PAGES = [path for path in tracked_files() if path.suffix == ".html"]
NOTES = [path for path in tracked_files() if path.suffix == ".md"]


def by_name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def test_no_registry_and_no_machine_is_named():
    named = []
    for path in TEXTS:
        text = path.read_text(encoding="utf-8", errors="replace")
        named += [f"{by_name(path)}: {host}" for host in REGISTRY_HOSTS if host in text]
        if path != Path(__file__):
            named += [f"{by_name(path)}: {found.group()}" for found in MACHINE_PATH.finditer(text)]
    assert named == []


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-dev.lock"])
def test_a_lock_holds_exact_pins_and_nothing_else(lock: str):
    lines = [line.split("#")[0].strip() for line in (ROOT / lock).read_text(encoding="utf-8").splitlines()]
    loose = [line for line in lines if line and not re.fullmatch(r"[a-z0-9.-]+==[\w.]+", line)]
    assert loose == []


def test_every_direct_requirement_is_in_its_lock_at_its_version():
    for name in ("requirements", "requirements-dev"):
        locked = {line.split()[0] for line in (ROOT / f"{name}.lock").read_text().splitlines() if "==" in line}
        direct = [line for line in (ROOT / f"{name}.in").read_text().splitlines() if "==" in line]
        wanted = {re.sub(r"\[.*?\]", "", line.split()[0]) for line in direct}
        assert wanted <= locked, name


@pytest.mark.parametrize("page", PAGES, ids=by_name)
def test_a_page_holds_no_script_and_loads_nothing_from_outside(page: Path):
    text = page.read_text(encoding="utf-8")
    inline = [
        found["attributes"]
        for found in SCRIPT.finditer(text)
        if "src=" not in found["attributes"] and "application/json" not in found["attributes"]
    ]
    assert inline == []
    assert HANDLER.search(text) is None
    assert OUTSIDE.search(text) is None


@pytest.mark.parametrize("note", NOTES, ids=by_name)
def test_every_link_of_a_note_leads_somewhere(note: Path):
    targets = [a or b for a, b in LINK.findall(note.read_text(encoding="utf-8"))]
    local = [target.split("#")[0] for target in targets if not re.match(r"[a-z]+:|#|//", target)]
    broken = [target for target in local if target and not (note.parent / unquote(target)).exists()]
    assert broken == []
