"""A report as sections, each a small table with remarks; the terminal's way to show them.

Comes in: titles, rows of words, remarks.  Goes out: text at most 80 columns wide.  Before:
`show/words/amounts`; after: `show/words_*`, `commands/decide`, and `show/reports/paper`, which makes HTML of
the same sections.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from sim.show.words.amounts import WIDTH, wrapped

__all__ = ["Page", "Section", "page_text"]

_GAP = "  "


@dataclass(frozen=True)
class Section:
    """A table with remarks; either may be missing.

    Attributes
    ----------
    title : "" for none
    header : of the columns, () for none
    rows : words; the first column is the row's name
    remarks : sentences below
    """

    title: str
    header: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Page:
    """A whole report.

    Attributes
    ----------
    title, subtitle : what it is about
    sections : in order
    notices : what a reader must know
    pictures : name and what to see in it, for the page
    """

    title: str
    subtitle: str
    sections: tuple[Section, ...]
    notices: tuple[str, ...] = ()
    pictures: tuple[tuple[str, str], ...] = field(default=())


def page_text(page: Page) -> str:
    """Return a report as text for a terminal, without a closing line end."""
    lines = [*wrapped(page.title), *wrapped(page.subtitle)]
    for section in page.sections:
        lines += ["", *wrapped(section.title)]
        lines += _table_lines(section)
        for remark in section.remarks:
            lines += wrapped(f"  {remark}", "  ")
    if page.notices:
        lines.append("")
    for notice in page.notices:
        lines += wrapped(f"! {notice}", "  ")
    return "\n".join(lines)


def _table_lines(section: Section) -> list[str]:
    """Align columns; where they do not fit, give each cell a line of its own."""
    table = [section.header, *section.rows] if section.header else list(section.rows)
    if not table:
        return []
    widths = [max(len(row[place]) for row in table) for place in range(len(table[0]))]
    if sum(widths) + len(_GAP) * len(widths) <= WIDTH:
        return [
            (_GAP + _GAP.join(word.ljust(width) for word, width in zip(row, widths, strict=True))).rstrip()
            for row in table
        ]
    lines = []
    for row in section.rows:
        lines += wrapped(f"  {row[0]}", "    ")
        for name, word in zip(section.header[1:] or ("",) * (len(row) - 1), row[1:], strict=True):
            if word:
                lines += wrapped(f"    {name}: {word}" if name else f"    {word}", "      ")
    return lines
