"""Every example in a docstring is run."""

from __future__ import annotations

import doctest
import importlib
import re

import pytest

import sim
from tests.house.source import ROOT, module_paths

MODULES = [name for name, path in module_paths().items() if path.name != "__main__.py"]


@pytest.mark.parametrize("module", MODULES)
def test_examples_give_what_they_say(module: str) -> None:
    room = sim if module == "" else importlib.import_module(f"sim.{module}")
    failed, _ = doctest.testmod(room, raise_on_error=False, verbose=False)
    assert failed == 0


def test_there_are_examples() -> None:
    finder = doctest.DocTestFinder(exclude_empty=True)
    rooms = [importlib.import_module(f"sim.{module}".rstrip(".")) for module in MODULES]
    assert sum(len(test.examples) for room in rooms for test in finder.find(room)) > 30


def test_what_the_readme_shows_in_python_runs(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    blocks = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    assert blocks
    for block in blocks:
        exec(compile(block, "README.md", "exec"), {})
