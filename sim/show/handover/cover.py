"""The first page of a handover: what is entered, what to expect, which numeric limits, how sure; its notes.

Comes in: a scenario, its step-in schedule, rows of numeric limits.  Goes out: answers, a small table,
`Meaning`s. Before: `show/words/in_force`, `show/handover/limits`, `study/step_in`; after:
`show/handover/sheets`, `show/folders/handover`.
"""

from __future__ import annotations

from collections.abc import Sequence

from sim.outcome.limit_group import LimitRow
from sim.scenario.schema import Scenario
from sim.show.handover.tests import SAMPLING_SOURCE
from sim.show.notes.book import Meaning
from sim.show.notes.headline import INTERVAL, OWN
from sim.show.words.amounts import count_of, digits, duration, listing, percent_interval
from sim.show.words.in_force import levels_text, settings_in_force
from sim.show.words.limits import limit_counts
from sim.show.words.sections import Section
from sim.study.step_in import Step, StepIn

__all__ = ["HANDOVER_NOTES", "cover_answers", "cover_table"]

_MOST_ROWS = 8
_STATED = "the scenario, whose resolved copy is scenario.toml"

HANDOVER_NOTES: tuple[Meaning, ...] = (
    Meaning(
        r"Period|Hold|Timeout$|Sum|High|Low|Second level|Fade|Levels|Hold to set",
        "As the scenario states it; sum = hold + timeout.",
        _STATED,
    ),
    Meaning(r"At full", "Number of luminaires times their power at full level.", _STATED),
    Meaning(
        r"Stretch|At$|Reach|Luminaire$|Dim$|Never dim|Sensors$|Luminaires$",
        "From the floor that the scenario states: luminaire i of n stands at (i + 0.5) L / n.",
        _STATED,
    ),
    Meaning(
        r"Here|Limit$|Number$",
        "The site's number beside the limit's; each row's source stands by its number in brackets above the "
        "list.",
        "the documents named there",
    ),
    Meaning(
        r"Expect",
        "From the settings handed over: hold + timeout, latency + fade-up, light at full times the share of "
        "light "
        "at the level.",
        _STATED,
    ),
    Meaning(
        r"Chance to meet",
        "1 - C(N - K, n) / C(N, n): n of N aisles are tested, K of them are taken to be wrong.",
        f"sampling without replacement; share by {SAMPLING_SOURCE}",
    ),
    Meaning(
        r"False-offs a shift|Most in one aisle",
        "Times that the lights go down on a truck inside, over shifts of 8 h; the interval is that over "
        "replications.",
        OWN,
    ),
    Meaning(
        r"Saved",
        "(E0 - E) / E0 with E0 = all luminaires at full power in every hour. " + INTERVAL.text,
        "IPMVP, baseline less reporting-period energy (from memory)",
    ),
    Meaning(
        r"Timeout|Week",
        "From the first delay to the final one in equal ratios, week by week.",
        "common practice, no source",
    ),
)


def cover_answers(
    scenario: Scenario, step_in: StepIn, limits: Sequence[LimitRow], settings_from: str
) -> tuple[tuple[str, str], ...]:
    """Return the questions of the first page with their answers."""
    rows = settings_in_force(scenario)
    delays = sorted({row.delay_s for row in rows})
    span = " to ".join(dict.fromkeys(duration(one) for one in (delays[0], delays[-1])))
    periods = list(dict.fromkeys(row.name for row in rows))
    first, last = step_in.steps[0], step_in.steps[-1]
    return (
        (
            "What is entered?",
            f"The settings of sheet 2, {settings_from}: {count_of(len(periods), 'period')} "
            f"({listing(periods, 6)}), hold "
            f"and timeout together {span}. In the first week longer timeouts, then shorter ones week by "
            "week.",
        ),
        (
            "What may be expected?",
            f"{_expected(last, 'At the end')} {_expected(first, 'In the first week')}",
        ),
        (
            "Which numeric limits are met?",
            f"{limit_counts(limits)}. The sheet of numeric limits has each zone and period.",
        ),
        (
            "How sure is it?",
            f"Figures to expect are means of {count_of(step_in.replications, 'simulated replication')}; "
            "nothing here "
            "was measured. The functional test says what is there.",
        ),
    )


def _expected(step: Step, when: str) -> str:
    """What a week of the schedule brings."""
    saved = f"{percent_interval(step.saved_share)} less energy than always on"
    if step.false_offs.mean is None:
        return f"{when} {saved}; false-offs are not known, because no visits are."
    return f"{when} {saved}, and {digits(step.false_offs.mean, 2)} false-offs a shift on the whole site."


def cover_table(scenario: Scenario) -> Section:
    """Return the settings in short, by period and aisles."""
    rows = settings_in_force(scenario)
    shown = tuple(
        (
            row.name, "all" if row.is_everywhere else listing(row.aisles, 3), duration(row.sensors.hold_s),
            duration(row.settings.timeout_s), duration(row.delay_s), levels_text(row),
        )
        for row in rows[:_MOST_ROWS]
    )
    more = len(rows) - len(shown)
    remarks = (f"{count_of(more, 'further row')} on sheet 2.",) if more else ()
    return Section(
        "Settings", ("Period", "Aisles", "Hold", "Timeout", "Sum", "Levels, high / low"), shown, remarks
    )
