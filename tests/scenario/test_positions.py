"""The scanner finds a place for every value that the standard library's parser finds, at the right line."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.scenario.positions import Key, find_places

CORPUS = Path(__file__).parents[1] / "corpus" / "scenarios"

ODD = '''# comment with [brackets] and "quotes"
"a b".'c.d' = """x
""\\" y"""""
plain = 'it # is'
when = 1979-05-27 07:32:00 # a date with a space
[x.y]
z = {p = [1, {q.r = 2}], s = "}"}
m = [ # [ in a comment
  [1,2], # ]
  [3,
   4,],
]
[[x.l]]
n=1
[x.l.sub]
o=true
[[x.l]]
n = 2
[[x.l.deep]]
w=1
[[x.l.deep]]
w=2
[after.below]
e={}
[after]
f=[]
g = \'\'\'
[[no table]]
h = 3\'\'\'
"\\u0041" = 4
'''


def paths_of(value: Any, path: Key = ()) -> set[Key]:
    """Every path inside a value."""
    steps: Any = value if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ()
    inner = (paths_of(value[step], (*path, step)) for step in steps)
    return {path}.union(*inner) - {()}


def test_every_path_of_an_odd_document_has_its_line() -> None:
    places = find_places(ODD)
    assert set(places) == paths_of(tomllib.loads(ODD))
    lines = {path: place.line for path, place in places.items()}
    assert lines["a b", "c.d"] == 2
    assert lines["when",] == 5
    assert lines["x", "y", "z", "p", 1, "q", "r"] == 7
    assert lines["x", "y", "m", 1, 1] == 11
    assert lines["x", "l", 0] == 13
    assert lines["x", "l", 0, "sub", "o"] == 16
    assert lines["x", "l", 1, "deep", 1, "w"] == 22
    assert lines["after",] == 25
    assert lines["after", "g"] == 27
    assert lines["after", "A"] == 30


def test_wording_is_as_written() -> None:
    places = find_places("a = 1e400  # large\nb = [ 1,\n  2 ]\nc = \"" + "x" * 200 + '"')
    assert places["a",].wording == "1e400"
    assert places["b",].wording == "[ 1, 2 ]"
    assert len(places["c",].wording) == 60


@pytest.mark.parametrize("path", sorted(CORPUS.rglob("*.toml")), ids=lambda path: path.stem)
def test_every_path_of_the_corpus(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    if path.parent.name == "bad" and path.name.startswith("syntax-"):
        pytest.skip("not TOML")
    content = tomllib.loads(text)
    places = find_places(text)
    assert set(places) == paths_of(content)
    lines = text.split("\n")
    for key, place in places.items():
        if isinstance(key[-1], str) and place.wording and "=" in lines[place.line - 1]:
            assert key[-1].strip("\"'") in lines[place.line - 1]


NAMES = st.text(min_size=0, max_size=6)
NUMBERS = st.integers(-(2**40), 2**40) | st.floats(allow_nan=False)
SCALARS = NUMBERS | st.booleans() | st.text(max_size=12) | st.dates()
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(NAMES, inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(NAMES, VALUES, max_size=5), st.booleans())
def test_every_path_of_any_document(content: dict[str, Any], is_multiline: bool) -> None:
    text = tomli_w.dumps(content, multiline_strings=is_multiline).replace("\r\n", "\n")
    assert set(find_places(text)) == paths_of(tomllib.loads(text))
