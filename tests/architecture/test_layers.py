"""What import-linter cannot see: how the rooms use each other, not only whether they import."""

import ast

from tests.architecture.source import modules, modules_in


def test_pages_and_endpoints_get_rows_only_through_queries():
    reached = []
    for module in modules_in("web", "api"):
        # `Stack.objects.none()` only tells a form field its model; it never brings a row.
        empty = {
            node.value for node in ast.walk(module.tree) if isinstance(node, ast.Attribute) and node.attr == "none"
        }
        reached += [
            module.place(node)
            for node in ast.walk(module.tree)
            if isinstance(node, ast.Attribute) and node.attr in {"objects", "_default_manager"} and node not in empty
        ]
    assert reached == [], "A view asks a function of `queries`, which authorises."


def test_no_import_hides_in_a_function():
    hidden = [
        module.place(node)
        for module in modules()
        for function in module.functions()
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
        and not (module.path.name == "apps.py" and function.name == "ready")
    ]
    assert hidden == [], "A hidden import is the mark of a cycle: move what both need one layer down."


def test_rows_followed_by_select_related_are_named():
    bare = [module.place(call) for module in modules() for call in module.calls("select_related") if not call.args]
    assert bare == [], "A bare select_related() follows every relation there is or will be."


def test_the_clock_is_read_in_the_shells_alone():
    inner = modules_in("actions", "queries", "documents", "models") + tuple(
        module for module in modules() if module.name.startswith("calcs/")
    )
    read = [
        module.place(call)
        for module in inner
        for name in ("now", "utcnow", "today", "localtime", "localdate")
        for call in module.calls(name)
        # `timezone.localtime(value, zone)` turns a moment given, it reads no clock.
        if not (name in {"localtime", "localdate"} and call.args)
    ]
    assert read == [], "Pass the moment as `at`."
