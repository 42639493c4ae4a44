"""Whatever the bytes of a file, a reader takes it or leaves by an InputError that can be shown.

200 files a reader in the usual run; 20,000 by `python -m pytest -m slow tests/hardening/test_readers.py`.
"""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sim.errors import InputError
from tests.hardening.readers import READERS

MARKS = b"""\0 \xff\xfe \xef\xbb\xbf \r \t , ; " ' = [ ] { } 1e400 nan -1 0 4e492493924924 \xc3\xa9 \xe9"""
PIECES = st.sampled_from([*MARKS.split(b" "), b" ", b"\n", b"9" * 40])
"""What damages files: marks of other encodings and formats, numbers that are none."""


@st.composite
def damaged(draw: st.DrawFn, good: bytes) -> bytes:
    """A good file with up to four cuts, repeats, swaps and foreign pieces, or any bytes at all."""
    if draw(st.integers(0, 9)) == 0:
        return draw(st.binary(max_size=120))
    text = good
    for _ in range(draw(st.integers(1, 4))):
        first = draw(st.integers(0, len(text)))
        last = draw(st.integers(first, min(len(text), first + 30)))
        piece = draw(PIECES | st.binary(max_size=3) | st.just(text[first:last] * 2))
        text = text[:first] + piece + text[last:]
    return text


def try_reader(name: str, data: bytes, folder: Path) -> None:
    """Read bytes; only an InputError may leave, and it must be fit to be shown and to cross processes."""
    reader = READERS[name]
    path = folder / reader.name
    path.write_bytes(data)
    refused: InputError | None = None
    try:
        reader.read(path)
    except InputError as error:
        refused = error
    if refused is not None:
        assert refused.faults
        assert str(refused).replace("\n", "").isprintable()
        assert str(pickle.loads(pickle.dumps(refused))) == str(refused)


@pytest.mark.parametrize("name", READERS)
def test_the_good_file_is_taken(name: str, tmp_path: Path) -> None:
    """Otherwise the other tests would only try the first line of a reader."""
    path = tmp_path / READERS[name].name
    path.write_bytes(READERS[name].good)
    READERS[name].read(path)


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_bytes(name: str, data: st.DataObject, tmp_path_factory: pytest.TempPathFactory) -> None:
    try_reader(name, data.draw(damaged(READERS[name].good)), tmp_path_factory.getbasetemp())


@pytest.mark.slow
@pytest.mark.parametrize("name", READERS)
@settings(max_examples=20_000, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_bytes_for_long(name: str, data: st.DataObject, tmp_path_factory: pytest.TempPathFactory) -> None:
    try_reader(name, data.draw(damaged(READERS[name].good)), tmp_path_factory.getbasetemp())
