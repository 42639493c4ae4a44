"""A step-in schedule: begin with long delays, shorten them week by week, and what to expect at each step.

Comes in: a scenario with the settings to end at.  Goes out: `StepIn`.  Before: `study/ages/evaluate`,
`study/replications/replicate`, `study/replications/precision`; after: `show/handover/sheets`.  Each step is
evaluated on the same traffic, exactly.  That one begins long and shortens is common practice, no source; the
first delay is by default the longest that energy codes allow, so that no step passes it.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.outcome.limits import CODE_DELAY
from sim.records import FloatColumn
from sim.replication import drivers_react, prepare_site, simulate_traffic
from sim.results import Estimate, Outcomes
from sim.scenario.schema import Scenario, Settings, seconds_of_day
from sim.study.ages.evaluate import evaluate_settings
from sim.study.relight import with_settings
from sim.study.replications.precision import estimate_mean
from sim.study.replications.replicate import replay, run
from sim.traffic.calendar import count_days, holiday_dates, past_midnight
from sim.units import SECONDS_PER_DAY, SECONDS_PER_HOUR, WEEKDAYS

__all__ = ["SHIFT_H", "Step", "StepIn", "find_step_in", "plan_delays", "staffed_hours"]

SHIFT_H = 8.0
"""Hours in which somebody works that count as one shift."""
FIRST_DELAY_S = CODE_DELAY.value
_ROUND_S = 30.0
_LEAST_S = 1.0
_KEPT = ("false_offs", "energy_kwh", "always_on_kwh")

Progress = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Step:
    """One week of the schedule.

    Attributes
    ----------
    week : from 1
    timeout_s : the controller's timeout by the name of the settings
    false_offs : of the whole site in a shift; its mean is None where no visits are known
    worst_aisle : the aisle with the most of them, "" where there are none
    worst : its false-offs in a shift
    saved_share : energy saved over always on
    """

    week: int
    timeout_s: Mapping[str, float]
    false_offs: Estimate
    worst_aisle: str
    worst: float
    saved_share: Estimate


@dataclass(frozen=True)
class StepIn:
    """The whole schedule.

    Attributes
    ----------
    steps : the last one has the settings that were asked for
    shifts : of 8 h that the run holds
    is_staffed : whether they are hours in which a shift works; otherwise all hours of the run
    replications : how many were evaluated
    """

    steps: tuple[Step, ...]
    shifts: float
    is_staffed: bool
    replications: int


def plan_delays(final_s: float, first_s: float, weeks: int) -> tuple[float, ...]:
    """Return the delay of each week [s]: from the first to the final one in equal ratios.

    Parameters
    ----------
    final_s : hold and timeout to end at; one that is not below `first_s` holds from the beginning
    first_s : hold and timeout to begin with
    weeks : how many, the final one among them

    Notes
    -----
    D_k = D_1 (D_n / D_1)^((k - 1) / (n - 1)), rounded up to half minutes, never above the week before.

    Examples
    --------
    >>> plan_delays(150.0, 1200.0, 4)
    (1200.0, 600.0, 300.0, 150.0)
    """
    if weeks == 1 or final_s >= first_s:
        return (final_s,) * weeks
    ratio = max(final_s, _LEAST_S) / first_s
    found = [first_s]
    for place in range(1, weeks - 1):
        exact = first_s * ratio ** (place / (weeks - 1))
        # a hair of slack: 600.0000000001 is 600
        rounded = math.ceil(exact / _ROUND_S - 1e-9) * _ROUND_S
        found.append(min(found[-1], max(final_s, rounded)))
    return (*found, final_s)


def staffed_hours(scenario: Scenario) -> float:
    """Return in how many hours of the run a shift works [h]; nobody comes on a holiday."""
    offset, first = past_midnight(scenario), scenario.start_datetime.date()
    closed = holiday_dates(scenario)
    spans: list[tuple[float, float]] = []
    for day in range(-1, count_days(scenario)):
        date = first + dt.timedelta(days=day)
        for shift in scenario.shifts if date not in closed else ():
            if WEEKDAYS[date.weekday()] in shift.days:
                begin, end = seconds_of_day(shift.from_), seconds_of_day(shift.to)
                length = end - begin if end > begin else end - begin + SECONDS_PER_DAY
                at = day * SECONDS_PER_DAY + begin - offset
                spans.append((at, at + length))
    total, until = 0.0, 0.0
    for start, stop in sorted(spans):
        start, stop = max(start, until), min(stop, scenario.duration_s)
        if stop > start:
            total += stop - start
            until = stop
    return total / SECONDS_PER_HOUR


def find_step_in(
    scenario: Scenario,
    *,
    weeks: int = 4,
    first_delay_s: float = FIRST_DELAY_S,
    replications: int = 5,
    log: Path | None = None,
    progress: Progress | None = None,
) -> StepIn:
    """Return the schedule with what to expect in each week.

    Parameters
    ----------
    scenario : with the settings to end at
    weeks : steps, one a week
    first_delay_s : hold and timeout of the first week [s]
    replications : of the traffic; a log counts once
    log : folder of a replay whose visits.csv and detections.csv stand for the traffic
    progress : called with replications done and expected
    """
    choices = _choices(scenario, first_delay_s, weeks)
    tell = progress or (lambda done, expected: None)
    if log is not None:
        tables = [_replay_log(scenario, choices, log)]
    elif drivers_react(scenario):
        tables = _run_live(scenario, choices, replications, tell)
    else:
        tables = []
        for number in range(replications):
            tell(number, replications)
            tables.append(_evaluate(scenario, choices, number))
    staffed = staffed_hours(scenario)
    hours = staffed or scenario.duration_s / SECONDS_PER_HOUR
    shifts = hours / SHIFT_H
    layout = prepare_site(scenario).layout
    steps = tuple(
        _step(layout, number, choice, tables, shifts) for number, choice in enumerate(choices)
    )
    return StepIn(steps, shifts, staffed > 0.0, len(tables))


def _choices(scenario: Scenario, first_delay_s: float, weeks: int) -> list[dict[str, Settings]]:
    """The settings of each week, by name; hold is the longest that any aisle under them has."""
    found: list[dict[str, Settings]] = [{} for _ in range(weeks)]
    for name, settings in scenario.lighting.settings.items():
        hold = max(
            (scenario.sensors_of(aisle).hold_s for aisle in scenario.lit_names
             if settings in scenario.settings_of(aisle).values()),
            default=scenario.sensors.hold_s,
        )
        delays = plan_delays(hold + settings.timeout_s, first_delay_s, weeks)
        for week, delay in enumerate(delays):
            timeout = settings.timeout_s if week == weeks - 1 else max(settings.timeout_s, delay - hold)
            found[week][name] = settings.model_copy(update={"timeout_s": timeout})
    return found


def _evaluate(
    scenario: Scenario, choices: Sequence[Mapping[str, Settings]], number: int
) -> dict[str, NDArray[np.float64]]:
    """One replication of every step, (Z, K) by outcome."""
    site = prepare_site(scenario)
    traffic = simulate_traffic(site, number)
    return evaluate_settings(site, traffic, choices, by_zone=True)


def _replay_log(
    scenario: Scenario, choices: Sequence[Mapping[str, Settings]], log: Path
) -> dict[str, NDArray[np.float64]]:
    """Every step on a log, (Z, K) by outcome."""
    visits = log / "visits.csv"
    return _side_by_side([
        replay(
            with_settings(scenario, choice),
            detections=log / "detections.csv",
            visits=visits if visits.is_file() else None,
            sort=True,
        ).outcomes[0]
        for choice in choices
    ])


def _run_live(
    scenario: Scenario, choices: Sequence[Mapping[str, Settings]], replications: int, tell: Progress
) -> list[dict[str, NDArray[np.float64]]]:
    """Drivers who react to the light make other traffic at each step: a simulation of its own each."""
    plain = scenario.model_copy(update={"year_weeks": None})
    results = []
    for place, choice in enumerate(choices):
        tell(place, len(choices))
        results.append(run(with_settings(plain, choice), replications=replications))
    return [
        _side_by_side([result.outcomes[number] for result in results]) for number in range(replications)
    ]


def _side_by_side(outcomes: Sequence[Outcomes]) -> dict[str, NDArray[np.float64]]:
    """Outcomes by zone of several steps, (Z, K) by outcome."""
    return {name: np.stack([one.zones[name] for one in outcomes], axis=-1) for name in _KEPT}


def _step(
    layout: Layout,
    place: int,
    choice: Mapping[str, Settings],
    tables: Sequence[Mapping[str, NDArray[np.float64]]],
    shifts: float,
) -> Step:
    """One week's figures."""

    def totals(name: str) -> FloatColumn:
        return np.array([table[name][:, place].sum() for table in tables])

    by_zone = np.mean([table["false_offs"][:, place] for table in tables], axis=0)
    by_place = np.bincount(layout.zone_place, weights=np.nan_to_num(by_zone))
    worst = int(np.argmax(by_place))
    always = totals("always_on_kwh")
    return Step(
        week=place + 1,
        timeout_s={name: settings.timeout_s for name, settings in choice.items()},
        false_offs=estimate_mean((totals("false_offs") / shifts).tolist()),
        worst_aisle=layout.places[worst] if by_place[worst] > 0.0 else "",
        worst=float(by_place[worst] / shifts),
        saved_share=estimate_mean(((always - totals("energy_kwh")) / always).tolist()),
    )
