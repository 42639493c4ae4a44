"""Results as small tables for a notebook: what their `_repr_html_` return.

Comes in: words and numbers.  Goes out: HTML in which every text is escaped.  The ground: the results of
`sim.results`, `study` and `verification` use it.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence

from sim.rounding import mean_and_half

__all__ = ["FIGURE_HEADER", "MOST_ROWS", "figure_row", "html_table", "plus_minus", "with_unit"]

FIGURE_HEADER = ("", "mean", "±", "unit")
"""Columns of `figure_row`: a figure, its mean, the half-width of its interval, its unit."""

MOST_ROWS = 12
"""A small table has so many rows."""


def with_unit(name: str, unit: str) -> str:
    """Return a name with its unit in brackets; "-" is the unit of a plain number.

    Examples
    --------
    >>> with_unit("energy_kwh", "kWh"), with_unit("false_offs", "-")
    ('energy_kwh [kWh]', 'false_offs')
    """
    return name if unit == "-" else f"{name} [{unit}]"


def plus_minus(mean: float | None, half_width: float | None) -> str:
    """Return a mean with the half-width of its interval in one cell.

    Examples
    --------
    >>> plus_minus(38.23, 1.34), plus_minus(38.23, None), plus_minus(None, None)
    ('38.2 ± 1.3', '38.2', 'not known')
    """
    mean_text, half_text = mean_and_half(mean, half_width)
    return f"{mean_text} ± {half_text}" if half_text else mean_text


def figure_row(
    name: str, mean: float | None, half_width: float | None, unit: str = ""
) -> tuple[str, str, str, str]:
    """Return one figure as words; "-" is the unit of a plain number and is not shown.

    Examples
    --------
    >>> figure_row("energy_kwh", 1234.5, 12.0, "kWh")
    ('energy_kwh', '1,230', '10', 'kWh')
    """
    return (name, *mean_and_half(mean, half_width), unit if unit != "-" else "")


def html_table(
    title: str, header: Sequence[str], rows: Iterable[Sequence[str]], remarks: Sequence[str] = ()
) -> str:
    """Return a table of words as HTML.

    Parameters
    ----------
    title : stands above
    header : of the columns; the first one names the rows
    rows : words
    remarks : sentences below

    Examples
    --------
    >>> print(html_table("a < b", ("", "mean"), [("x", "1")]))
    <table>
    <caption style="caption-side: top; text-align: left">a &lt; b</caption>
    <thead><tr><th style="text-align: left"></th><th>mean</th></tr></thead>
    <tbody>
    <tr><th style="text-align: left">x</th><td>1</td></tr>
    </tbody>
    </table>
    """
    corner, *names = map(html.escape, header)
    head = f'<th style="text-align: left">{corner}</th>' + "".join(f"<th>{name}</th>" for name in names)
    lines = [
        "<table>",
        f'<caption style="caption-side: top; text-align: left">{html.escape(title)}</caption>',
        f"<thead><tr>{head}</tr></thead>",
        "<tbody>",
    ]
    for first, *others in rows:
        cells = "".join(f"<td>{html.escape(word)}</td>" for word in others)
        lines.append(f'<tr><th style="text-align: left">{html.escape(first)}</th>{cells}</tr>')
    lines += ["</tbody>", "</table>"]
    return "\n".join([*lines, *(f"<p>{html.escape(remark)}</p>" for remark in remarks)])
