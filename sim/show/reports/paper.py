"""A report of a study or a proof as one HTML page: summary, contents, evidence, cautions, notes, words.

Comes in: a `Page` of sections, its `Summary`, what its headings mean, pictures as SVG.  Goes out: HTML that
needs nothing else.  Before: `show/words/sections`, `show/notes/book`, `show/words/glossary`; after:
`show/folder_*`. Names of outcomes are put in words; marks beside headings and labels lead to the notes.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import jinja2

from sim.provenance import content_hash, versions
from sim.scenario.schema import Scenario
from sim.show.notes.book import Meaning, NoteBook
from sim.show.words.amounts import bind_units
from sim.show.words.glossary import used_words
from sim.show.words.plain_names import plain_names
from sim.show.words.sections import Page, Section

__all__ = ["Cell", "Summary", "Table", "bound", "facts_of", "jinja_template", "make_table", "paper_html"]


@dataclass(frozen=True)
class Summary:
    """What stands on the first page.

    Attributes
    ----------
    answers : questions with their answers in plain sentences; the decision first
    table : the figures, each with its interval
    remarks : sentences below
    """

    answers: tuple[tuple[str, str], ...]
    table: Section | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Cell:
    """A word of a table and the numbers of its notes."""

    text: str
    marks: tuple[int, ...] = ()


@dataclass(frozen=True)
class Table:
    """A section as the page shows it."""

    title: Cell
    header: tuple[Cell, ...]
    rows: tuple[tuple[Cell, ...], ...]
    remarks: tuple[str, ...]


def bound(value: object) -> object:
    """Keep numbers and their units on one line."""
    return bind_units(value) if type(value) is str else value


@cache
def jinja_template(name: str) -> jinja2.Template:
    """Return a template of this package; every value it shows is escaped."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("sim.show"), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, finalize=bound,
    )
    return environment.get_template(name)


def make_table(section: Section, book: NoteBook) -> Table:
    """Return a section with its notes; where an interval is shown, the note on intervals too.

    Marks stand at headings of columns and at labels of rows; what belongs to the whole table stands at its
    title alone.
    """
    title = book.mark(section.title)

    def cell(word: str) -> Cell:
        marks = book.mark(word) if word else ()
        return Cell(plain_names(word), tuple(mark for mark in marks if mark not in title))

    header = tuple(cell(word) for word in section.header)
    rows = tuple((cell(row[0]), *(Cell(plain_names(word)) for word in row[1:])) for row in section.rows)
    marks = title
    if any("±" in word for row in section.rows for word in row):
        marks = tuple(sorted({*title, *book.mark_interval()}))
    remarks = tuple(plain_names(remark) for remark in section.remarks)
    heading = plain_names(section.title)
    return Table(Cell(heading[:1].upper() + heading[1:], marks), header, rows, remarks)


def facts_of(scenario: Scenario) -> tuple[tuple[str, str], ...]:
    """Return seed, versions and hash, what a figure is repeated by."""
    return (
        ("Seed", str(scenario.seed)),
        ("Versions", ", ".join(f"{name} {number}" for name, number in versions().items())),
        ("Scenario", f"sha256 {content_hash(scenario.content())}"),
    )


def _sentence(text: str) -> str:
    """Plain names; a great letter first."""
    said = plain_names(text)
    return said[:1].upper() + said[1:]


def paper_html(
    page: Page,
    summary: Summary,
    meanings: Sequence[Meaning],
    svgs: Mapping[str, str],
    cautions: Sequence[str],
    scenario: Scenario,
) -> str:
    """Return a report as one self-contained page.

    Parameters
    ----------
    page : sections and pictures
    summary : of the first page
    meanings : equations and sources by heading and label; the first that fits is taken
    svgs : pictures by name; absent ones are left out
    cautions : sentences that close every report
    scenario : whose seed and hash are shown
    """
    book = NoteBook(meanings)
    first = None if summary.table is None else make_table(summary.table, book)
    tables = tuple(make_table(section, book) for section in page.sections)
    pictures = tuple(
        ("data:image/svg+xml;base64," + base64.b64encode(svgs[name].encode()).decode(), text)
        for name, text in page.pictures
        if name in svgs
    )
    template, shown = jinja_template("decision.html.j2"), {
        "title": page.title,
        "subtitle": plain_names(page.subtitle),
        "answers": [(question, _sentence(text)) for question, text in summary.answers],
        "first": first,
        "remarks": [plain_names(remark) for remark in summary.remarks],
        "notices": [plain_names(notice) for notice in page.notices],
        "tables": tables,
        "cautions": cautions,
        "notes": book.notes,
        "facts": facts_of(scenario),
    }
    words = used_words(template.render(**shown, pictures=(), words=()))
    return template.render(**shown, pictures=pictures, words=words)
