"""Files that are not clean UTF-8 TOML: accepted where that is harmless, refused in one line otherwise."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.errors import InputError
from sim.scenario.toml import load_scenario, parse_scenario, read_toml

CORPUS = Path(__file__).parents[1] / "corpus" / "scenarios"
GOOD = (CORPUS / "good" / "least.toml").read_text(encoding="utf-8")
TITLED = GOOD.replace("days = 1", 'days = 1\ntitle = "Kühlhaus"')


@pytest.mark.parametrize(
    "data",
    [
        b"\xef\xbb\xbf" + TITLED.encode(),
        TITLED.replace("\n", "\r\n").encode(),
        b"\xef\xbb\xbf" + TITLED.replace("\n", "\r\n").encode(),
        TITLED.rstrip("\n").encode(),
    ],
    ids=["bom", "crlf", "bom-crlf", "no-last-line-feed"],
)
def test_harmless_bytes_load(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(data)
    assert load_scenario(path) == parse_scenario(TITLED)


@pytest.mark.parametrize(
    ("data", "line", "words"),
    [
        (TITLED.encode("utf-16"), 1, "UTF-16"),
        (TITLED.encode("utf-16-be"), 1, "NUL"),
        (b"\xfe\xff" + TITLED.encode("utf-16-be"), 1, "UTF-16"),
        (TITLED.encode("latin-1"), 4, "0xFC is not UTF-8"),
        (GOOD.replace("aisles = 1", "aisles = 1\0").encode(), 6, "NUL"),
        (GOOD.replace("\n", "\r").encode(), 1, "save the file with LF"),
        (b"\r" + GOOD.replace("\n", "\r\n").encode(), 1, "save the file with LF"),
        (b"\r\r\n" + GOOD.encode(), 1, "save the file with LF"),
        (b"", None, "is missing"),
        (b"\x1f\x8b\x08\x00\x00", 1, "NUL"),
        (GOOD.encode() + b"# " + b"x" * 1_000_000, None, "larger than 1,000,000 bytes"),
        (b'title = "\x1b[31mred"', 1, "in: title"),
    ],
    ids=[
        "utf-16", "utf-16-be", "utf-16-be-bom", "latin-1", "nul", "cr", "cr-first", "cr-cr-lf", "empty",
        "gzip", "large", "escape",
    ],
)
def test_other_bytes_are_refused(tmp_path: Path, data: bytes, line: int | None, words: str) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    first = caught.value.faults[0]
    assert words in str(first)
    assert first.line == line
    assert str(caught.value).replace("\n", "").isprintable()


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"site\.toml: no such scenario file"):
        load_scenario(tmp_path / "site.toml")
    with pytest.raises(InputError, match="no such tariff file"):
        read_toml(tmp_path / "tariff.toml", "tariff")


def test_a_folder_and_an_impossible_name(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        load_scenario(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        load_scenario("a\0b")


def test_any_toml_file_is_read_with_its_places(tmp_path: Path) -> None:
    path = tmp_path / "tariff.toml"
    path.write_text("[price]\nper_kwh = 0.2\n", encoding="utf-8")
    file = read_toml(path, "tariff")
    assert file.content == {"price": {"per_kwh": 0.2}}
    assert file.places["price", "per_kwh"].line == 2
