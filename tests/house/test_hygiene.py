"""What must not stand in the repository: machine paths, notes to self, words that promise too much."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.house.source import ROOT

FOLDERS = ("sim", "scenarios", "tests", "figures", ".ci")
FILES = ("README.md", "DEVELOPERS.md", "pyproject.toml", ".gitignore")
SUFFIXES = ".py .toml .md .json .csv .j2 .html .css .js .mjs .svg .txt .sh"
TEXT = {*SUFFIXES.split(), ""}
PROMISES = re.compile(r"\b(?:compliant|compliance|certified)\b", re.IGNORECASE)
NEGATIONS = re.compile(r"\b(not?|never|nor|neither|cannot|without|instead of)\b", re.IGNORECASE)

FORBIDDEN: dict[str, re.Pattern[str]] = {
    "an absolute path of somebody's machine": re.compile(
        r"(?<![\w.<])/(?:home|Users|root|work|mnt)/\w|\b[A-Z]:\\\\?Users\b"
    ),
    "a note to self": re.compile(r"\b(?:TODO|FIXME|XXX|HACK)\b"),
    "a left-over of a merge": re.compile(r"^(?:<{7} |>{7} |={7}$)", re.MULTILINE),
    "a source that nobody else can look up": re.compile(r"\b[a-z][a-z_-]*\.md\b"),
}


def text_files() -> list[Path]:
    """Return the text files of the repository."""
    found = [ROOT / name for name in FILES]
    for folder in FOLDERS:
        found += sorted((ROOT / folder).rglob("*"))
    return [
        path
        for path in found
        if path.is_file()
        and path.suffix in TEXT
        and not {"__pycache__", "corpus"} & set(path.parts)
        and path != Path(__file__).resolve()  # it must spell out what it forbids
    ]


def read(path: Path) -> str:
    """Return the text of a file."""
    return path.read_text(encoding="utf-8")


def promises(text: str) -> list[str]:
    """Return the sentences with a word that only an authority may use, unless they deny it."""
    sentences = re.split(r"(?<=[.!?])\s+|\n\s*\n", text)
    return [words for words in sentences if PROMISES.search(words) and not NEGATIONS.search(words)]


@pytest.mark.parametrize("what", FORBIDDEN)
def test_nothing_forbidden_stands_in_the_repository(what: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}:{read(path).count(chr(10), 0, match.start()) + 1}: {match[0]}"
        for path in text_files()
        for match in FORBIDDEN[what].finditer(read(path))
    ]
    assert found == [], what


def test_nothing_is_called_by_words_that_only_an_authority_may_use() -> None:
    """Tests are left out: they spell the words that they look for."""
    told = [path for path in text_files() if (ROOT / "tests") not in path.parents]
    assert [(path.name, sentence) for path in told for sentence in promises(read(path))] == []


def test_text_files_are_plain() -> None:
    """UTF-8, LF, a line feed at the end, no tabs in Python, no blanks at line ends."""
    for path in text_files():
        data = path.read_bytes()
        where = str(path.relative_to(ROOT))
        assert b"\r" not in data, where
        assert not data or data.endswith(b"\n"), where
        if path.suffix in (".py", ".toml", ".md"):
            assert b"\t" not in data, where
            assert not re.search(rb" \n", data), where


def test_top_of_the_repository_is_the_agreed_one() -> None:
    wanted = (*FILES, "LICENSE", "sim", "scenarios", "tests")
    missing = [name for name in wanted if not (ROOT / name).exists()]
    assert missing == []


def test_each_rule_can_fail() -> None:
    samples = {
        "an absolute path of somebody's machine": ("see /home/anna/x.toml", "see scenarios/x.toml"),
        "a note to self": ("# TODO: later", "a todo list"),
        "a left-over of a merge": ("<<<<<<< HEAD\n", "a < b\n"),
        "a source that nobody else can look up": ("as in standards.md", "as in scenarios/README.md"),
    }
    assert set(samples) == set(FORBIDDEN)
    for what, (guilty, innocent) in samples.items():
        assert FORBIDDEN[what].search(guilty), what
        assert not FORBIDDEN[what].search(innocent), what
    assert promises("This design is compliant with the code.")
    assert not promises("The report never says compliant.")
