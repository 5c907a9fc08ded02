"""Actions say who acts and when."""

import ast
from collections.abc import Iterator

import pytest

from tests.architecture.source import Function, Module, modules, modules_in


def names_used(module: Module) -> Iterator[str]:
    """Yield every name the module mentions but those it defines."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.ImportFrom):
            yield from (alias.name for alias in node.names)


def called_from(module: Module) -> Iterator[tuple[str, str]]:
    """Yield what a module takes from an actions module, as (`actions module`, `function`), by either way to import."""
    rooms: dict[str, str] = {}
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.endswith(".actions"):
            rooms |= {alias.asname or alias.name: f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and ".actions." in node.module:
            yield from ((node.module, alias.name) for alias in node.names)
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in rooms:
            yield rooms[node.value.id], node.attr


INSIDE = {name for module in modules_in("actions") for name in names_used(module)}
OUTSIDE = {taken for module in modules() if module not in modules_in("actions") for taken in called_from(module)}


def is_part(module: Module, function: Function) -> bool:
    """Return whether only actions use it: it then runs inside their transaction, for their actor."""
    dotted = module.name.removesuffix(".py").replace("/", ".")
    return function.name in INSIDE and (dotted, function.name) not in OUTSIDE


DERIVED = "tests_app/actions/obligations.py"
"""Keeps rows that follow from others, inside the action that changed those: nobody acts, and no entry tells of it."""

ACTIONS = [
    pytest.param(module, function, id=f"{module.name}:{function.name}")
    for module in modules_in("actions")
    for function in module.public_functions()
    if not is_part(module, function) and module.name != DERIVED
]


def keyword_only(function: Function, name: str) -> tuple[bool, bool]:
    """Return whether the function has the keyword-only parameter, and whether it has a default."""
    arguments = function.args
    for argument, default in zip(arguments.kwonlyargs, arguments.kw_defaults, strict=True):
        if argument.arg == name:
            return True, default is not None
    return False, False


@pytest.mark.parametrize(("module", "function"), ACTIONS)
def test_an_action_names_its_actor_and_its_moment_without_default(module: Module, function: Function):
    assert keyword_only(function, "by") == (True, False), "by= is keyword-only and has no default"
    assert keyword_only(function, "at") == (True, False), "at= is keyword-only and has no default"


@pytest.mark.parametrize(("module", "function"), ACTIONS)
def test_an_action_is_one_transaction(module: Module, function: Function):
    atomic = [
        node
        for node in ast.walk(function)
        if isinstance(node, ast.Attribute | ast.Name)
        and (getattr(node, "attr", "") or getattr(node, "id", "")) == "atomic"
    ]
    assert atomic, "Decorate it with @transaction.atomic, or open the transaction inside."


def test_a_row_held_to_be_changed_leaves_others_free_to_refer_to_it():
    """No action changes a key. PostgreSQL's plain FOR UPDATE also makes every row that refers to the held one wait,
    and two actions of a rig that refer to each other's rows then wait for ever."""
    whole = [
        module.place(call)
        for module in modules()
        for call in module.calls("select_for_update")
        if not any(keyword.arg == "no_key" for keyword in call.keywords)
    ]
    assert whole == []
