"""Public names: what `__all__` says is there, has a docstring, and the docstring tells the truth."""

from __future__ import annotations

import ast
import importlib
import inspect
import itertools
import re
from collections.abc import Iterator
from typing import Any

import pytest

import sim
from tests.house.source import module_paths, parse

MODULES = [name for name, path in module_paths().items() if path.name not in ("__init__.py", "__main__.py")]
_ITEM = re.compile(r"^([*\w]+(?:, [*\w]+)*) :(?: |$)")


def _is_rule(line: str) -> bool:
    """Say whether a line underlines a section's title."""
    return len(line) > 2 and set(line) == {"-"}


def section(docstring: str, title: str) -> list[str]:
    """Return the names listed in one section of a numpydoc docstring, such as Parameters."""
    lines = [*inspect.cleandoc(docstring).splitlines(), ""]
    names: list[str] = []
    is_inside = False
    for line, following in itertools.pairwise(lines):
        if _is_rule(following):
            is_inside = line == title
        elif is_inside and (item := _ITEM.match(line)):
            names += [name.lstrip("*") for name in item[1].split(", ")]
    return names


def unknown_parameters(thing: Any) -> list[str]:
    """Return what a docstring calls a parameter or an attribute and the code does not have."""
    docstring = inspect.getdoc(thing) or ""
    told = section(docstring, "Parameters")
    wrong = [name for name in told if name not in inspect.signature(thing).parameters] if told else []
    if inspect.isclass(thing):
        names = set(dir(thing)) | set(getattr(thing, "__dataclass_fields__", ()))
        wrong += [name for name in section(docstring, "Attributes") if name not in names]
    return wrong


def public_things(module: str) -> Iterator[tuple[str, Any]]:
    """Yield every function and class of a module's `__all__`, and the public methods of its classes."""
    room = importlib.import_module(f"sim.{module}")
    for name in room.__all__:
        thing = getattr(room, name)
        if not (inspect.isfunction(thing) or inspect.isclass(thing)):
            continue
        yield name, thing
        if inspect.isclass(thing):
            for inner, method in vars(thing).items():
                if not inner.startswith("_") and (inspect.isfunction(method) or isinstance(method, property)):
                    yield f"{name}.{inner}", method


def test_what_sim_offers_is_there() -> None:
    assert sim.__all__ == sorted(sim.__all__, key=lambda name: (not name.isupper(), name))
    for name in sim.__all__:
        assert getattr(sim, name) is not None
    assert set(sim._HOMES) == set(sim.__all__)
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = sim.no_such_name


@pytest.mark.parametrize("module", MODULES)
def test_every_module_says_what_it_offers(module: str) -> None:
    room = importlib.import_module(f"sim.{module}")
    assert hasattr(room, "__all__"), "no __all__"
    assert [name for name in room.__all__ if not hasattr(room, name)] == []
    assert list(room.__all__) == list(dict.fromkeys(room.__all__)), "a name stands twice"


@pytest.mark.parametrize("module", MODULES)
def test_every_module_has_a_docstring(module: str) -> None:
    assert ast.get_docstring(parse(module_paths()[module]))


@pytest.mark.parametrize("module", MODULES)
def test_public_docstrings_tell_the_truth(module: str) -> None:
    for name, thing in public_things(module):
        assert inspect.getdoc(thing), f"{name} has no docstring"
        target = thing.fget if isinstance(thing, property) else thing
        assert unknown_parameters(target) == [], f"{name} names what it has not"


def test_a_wrong_docstring_would_be_seen() -> None:
    def lying(speed: float) -> None:
        """Do nothing.

        Parameters
        ----------
        sped : speed [m/s]
        """

    assert unknown_parameters(lying) == ["sped"]
