"""The public surface is a list, and the list is true."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path

import fallow

PROMISED = {
    "open_sweeps",
    "judge",
    "read_chain",
    "read_links",
    "read_equipment",
    "coordinate",
}  # the Python face of the README


def public_definitions(tree: ast.Module) -> set[str]:
    """Functions and classes at the top of a module whose names do not begin with an underscore."""
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
    return {node.name for node in tree.body if isinstance(node, kinds) and not node.name.startswith("_")}


def declared_names(tree: ast.Module) -> list[str] | None:
    """The strings of ``__all__``, or None where there is none."""
    for node in tree.body:
        if isinstance(node, ast.Assign) and any(isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets):
            return list(ast.literal_eval(node.value))
    return None


def test_public_names_are_sorted_and_there() -> None:
    assert list(fallow.__all__) == sorted(fallow.__all__)
    assert len(set(fallow.__all__)) == len(fallow.__all__)
    for name in fallow.__all__:
        assert getattr(fallow, name) is not None
    assert set(fallow.__all__) <= set(dir(fallow))


def test_promised_names_are_public() -> None:
    assert set(fallow.__all__) >= PROMISED


def test_public_names_carry_a_docstring() -> None:
    for name in fallow.__all__:
        value = getattr(fallow, name)
        if callable(value):
            assert (value.__doc__ or "").strip(), name


def test_an_unknown_name_is_an_attribute_error() -> None:
    assert not hasattr(fallow, "no_such_name")


def test_every_module_lists_what_it_offers(package: Path) -> None:
    for path in sorted(package.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        public = public_definitions(tree)
        declared = declared_names(tree)
        where = path.relative_to(package)
        if public and path.parent != package / "cli" and path.name != "__init__.py":
            assert declared is not None, f"{where} has no __all__"


def test_every_listed_name_exists(package: Path) -> None:
    for path in sorted(package.rglob("*.py")):
        declared = declared_names(ast.parse(path.read_text(encoding="utf-8")))
        name = ".".join(("fallow", *path.relative_to(package).with_suffix("").parts)).removesuffix(".__init__")
        if declared:
            module = importlib.import_module(name)
            assert [word for word in declared if not hasattr(module, word)] == [], name
