"""The source of `sim` as syntax trees, and who imports whom: no module is run."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
PACKAGE = ROOT / "sim"


def module_name(path: Path) -> str:
    """Return the dotted name of a file of the package, without "sim." in front; "" for sim itself."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(part for part in parts if part != "__init__")


def module_paths() -> dict[str, Path]:
    """Return every module of the package with its file."""
    return {module_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}


@cache
def parse(path: Path) -> ast.Module:
    """Return the syntax tree of a file, read once."""
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def _is_for_types(node: ast.AST) -> bool:
    """Say whether a statement is `if TYPE_CHECKING:`."""
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def imports(tree: ast.AST, *, inside_functions: bool) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield (module, names taken from it) of every import that runs, `if TYPE_CHECKING` left out."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, ()
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            yield node.module or "", tuple(alias.name for alias in node.names)
        elif _is_for_types(node):
            continue
        elif inside_functions or not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            yield from imports(node, inside_functions=inside_functions)


def imported_rooms(tree: ast.AST, known: Mapping[str, Path], *, inside_functions: bool) -> set[str]:
    """Return the modules of the package that a module imports, without "sim." in front."""
    found = set()
    for module, names in imports(tree, inside_functions=inside_functions):
        if module != "sim" and not module.startswith("sim."):
            continue
        home = module[4:]
        submodules = {f"{home}.{name}".lstrip(".") for name in names} & set(known)
        found |= submodules or {home}
    return found - {""}


@cache
def libraries(tree: ast.AST) -> frozenset[str]:
    """Return the top-level names of everything that a module imports, anywhere in it."""
    return frozenset(module.partition(".")[0] for module, _ in imports(tree, inside_functions=True))


@cache
def called_names(tree: ast.AST) -> tuple[tuple[str, ast.Call], ...]:
    """Return every call with its dotted name as written; what stands before a call or an index is "()"."""
    return tuple((_dotted(node.func), node) for node in ast.walk(tree) if isinstance(node, ast.Call))


def _dotted(target: ast.expr) -> str:
    """Return the name of what is called."""
    parts: list[str] = []
    while isinstance(target, ast.Attribute):
        parts.append(target.attr)
        target = target.value
    parts.append(target.id if isinstance(target, ast.Name) else "()")
    return ".".join(reversed(parts))
