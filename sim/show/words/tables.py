"""Plain-text tables for a terminal of 80 columns.

Comes in: a `Result`, or a resolved site.  Goes out: text, printed by `cli`.  Before: `show/words/headline`,
`show/words/site`.
"""

from __future__ import annotations

from collections.abc import Sequence

from sim.floor.layout import Layout
from sim.lighting.timetable import Program
from sim.results import Result
from sim.scenario.schema import Scenario
from sim.show.words.amounts import WIDTH, count_of, duration, moment, wrapped
from sim.show.words.answers import shown_notices
from sim.show.words.headline import headline_groups
from sim.show.words.site import site_lines

__all__ = ["headline_table", "site_table"]

_LABEL, _VALUE = 32, 17


def headline_table(result: Result) -> str:
    """Return the headline figures in words, at most 80 columns wide, without a closing line end."""
    scenario = result.scenario
    lines = [
        *wrapped(scenario.title),
        f"{duration(scenario.duration_s)} from {moment(scenario.start_datetime)}, {_provenance(result)}",
    ]
    for group in headline_groups(result):
        lines += ["", group.title]
        for row in group.rows:
            line = f"  {row.label:<{_LABEL}}{f'{row.value} ':<{_VALUE}}{row.remark}".rstrip()
            if len(line) <= WIDTH:
                lines.append(line)
            else:
                lines += [f"  {row.label:<{_LABEL}}{row.value}".rstrip(), f"{row.remark:>{WIDTH}}"]
    lines.append("")
    if len(result.replications) > 1:
        lines.append(f"Means of {len(result.replications)} replications ± half-width of the 95 % interval.")
    elif result.source == "replay":
        lines += wrapped("Replay of one log: no interval.")
    else:
        lines += wrapped("1 replication: no interval, chance alone may move every figure.")
    for notice in shown_notices(result):
        lines += wrapped(f"! {notice}", "  ")
    return "\n".join(lines)


def _provenance(result: Result) -> str:
    """How the figures came about, in a few words."""
    if result.source == "replay":
        return "replay of a log"
    count = len(result.replications)
    if count == 1:
        return f"seed {result.scenario.seed}, replication {result.replications[0]}"
    return f"seed {result.scenario.seed}, {count_of(count, 'replication')}"


def site_table(
    scenario: Scenario, layout: Layout, programs: Sequence[Program], notices: Sequence[str]
) -> str:
    """Return the resolved site in one screenful, at most 80 columns wide.

    Parameters
    ----------
    scenario, layout, programs : the site; a program per place (P,)
    notices : what a reader must know, plain sentences
    """
    return "\n".join(site_lines(scenario, layout, programs, notices)).rstrip("\n")
