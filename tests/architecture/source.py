"""The application's own source, parsed once, for the tests of this folder."""

import ast
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("calcs", "accounts", "trail", "equipment", "tests_app", "config")
DJANGO_APPS = ("accounts", "trail", "equipment", "tests_app")

Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True)
class Module:
    """One source file: where it is, its text and its syntax tree."""

    path: Path
    text: str
    tree: ast.Module

    @property
    def name(self) -> str:
        """The path from the project's root, with slashes."""
        return self.path.relative_to(ROOT).as_posix()

    def functions(self) -> Iterator[Function]:
        """Yield every function and method, nested ones too."""
        for node in ast.walk(self.tree):
            if isinstance(node, Function):
                yield node

    def public_functions(self) -> Iterator[Function]:
        """Yield the functions at the top of the module whose names are for others."""
        for node in self.tree.body:
            if isinstance(node, Function) and not node.name.startswith("_"):
                yield node

    def calls(self, name: str) -> Iterator[ast.Call]:
        """Yield calls of a function or method of that name, however it is reached."""
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Call) and called_name(node) == name:
                yield node

    def place(self, node: ast.stmt | ast.expr) -> str:
        """Return `file:line` of a node, for the message of a failing test."""
        return f"{self.name}:{node.lineno}"


def called_name(call: ast.Call) -> str:
    """Return the last name of what is called: `filter` of `rigs.filter(...)`."""
    if isinstance(call.func, ast.Attribute):
        return call.func.attr
    return call.func.id if isinstance(call.func, ast.Name) else ""


@cache
def modules() -> tuple[Module, ...]:
    """Return every module of the application but its migrations."""
    paths = [path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py"))]
    return tuple(
        Module(path, path.read_text(encoding="utf-8"), ast.parse(path.read_text(encoding="utf-8")))
        for path in paths
        if "migrations" not in path.parts
    )


def modules_in(*rooms: str) -> tuple[Module, ...]:
    """Return the modules of these rooms (`web`, `actions`, …) of every Django app, as file or as folder."""
    return tuple(
        module
        for module in modules()
        if module.path.relative_to(ROOT).parts[0] in DJANGO_APPS
        and module.path.relative_to(ROOT).with_suffix("").parts[1] in rooms
    )


@cache
def tracked_files() -> tuple[Path, ...]:
    """Return every file git keeps, as absolute paths."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, text=True).stdout
    return tuple(ROOT / name for name in listed.split("\0") if name and (ROOT / name).is_file())


def docstring_lines(node: Function | ast.Module) -> int:
    """Return how many lines the docstring takes; nobody is made to write a shorter one."""
    first = node.body[0] if node.body else None
    if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str):
        return (first.end_lineno or first.lineno) - first.lineno + 1
    return 0


def function_lines(function: Function) -> int:
    """Return the lines of a function, signature included, docstring left out."""
    return (function.end_lineno or function.lineno) - function.lineno + 1 - docstring_lines(function)


def file_lines(module: Module) -> int:
    """Return the lines of a file without its docstrings."""
    documented = sum(docstring_lines(function) for function in module.functions())
    return len(module.text.splitlines()) - documented - docstring_lines(module.tree)
