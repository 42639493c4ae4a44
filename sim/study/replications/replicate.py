"""Repeat a run until the figures are as sure as asked, or replay measured logs once.

Comes in: a scenario, perhaps logs.  Goes out: `Result`.  Before: `replication`; after: `show`, `cli`.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from sim.errors import InputError
from sim.logs.form import OWN_FORM, LogForm
from sim.records import Detections, Visits
from sim.replication import (
    Engine,
    Site,
    Traffic,
    choose_engine,
    drivers_react,
    prepare_site,
    replay_site,
    run_replication,
    simulate_and_light,
)
from sim.results import CloseLook, Outcomes, Result
from sim.scenario.checks.contradictions import find_notices
from sim.scenario.schema import Scenario
from sim.study.engine import map_in_order
from sim.study.from_logs.timeouts import timeout_table
from sim.study.from_logs.traffic import read_log_traffic
from sim.study.replications.precision import estimate_mean, relative_half_width
from sim.study.replications.run_start import start_notices
from sim.study.year.special_weeks import special_scenario

__all__ = ["MOST_REPLICATIONS", "replay", "run"]

MOST_REPLICATIONS = 10_000
"""Where a requested precision gives up."""

LIVE = (
    "The lights ran inside the simulation (live), on the motion that the traffic leaves behind: the same "
    "result as a replay, computed in another way."
)
REACTING = (
    "The lights ran inside the simulation (live), because drivers react to them: every setting is then "
    "traffic of its own, a new simulation, and a comparison of settings is only as sure as the intervals of "
    "both runs. What drivers lose stands in light_lost_min_per_shift, minutes per driver and 8 hours on duty."
)

Progress = Callable[[int, int | None], None]


def _one(argument: tuple[Scenario, int, Engine]) -> Outcomes:
    """One replication as a worker does it."""
    scenario, number, engine = argument
    return run_replication(prepare_site(scenario), number, engine)[0]


def run(
    scenario: Scenario,
    *,
    seed: int | None = None,
    replications: int | None = None,
    replication: int | None = None,
    workers: int = 1,
    engine: Engine = "auto",
    progress: Progress | None = None,
) -> Result:
    """Simulate a scenario in independent replications.

    Parameters
    ----------
    scenario : from `load`
    seed : instead of the scenario's
    replications : exactly so many; absent: the scenario's, and more where it asks for a precision
    replication : this one only, by number from 0
    workers : processes; the result does not depend on their number
    engine : "replay": traffic first, then the lights, exactly; "live": the lights inside the simulation;
        "auto": live where drivers react to the light, else replay
    progress : called with replications done and expected (None while a precision is sought)

    Returns
    -------
    Result

    Raises
    ------
    InputError : numbers out of range, or a replay of drivers who react to the light

    Examples
    --------
    >>> import sim
    >>> result = sim.run(sim.load("pallet-reserve"), replications=2)    # doctest: +SKIP
    """
    if seed is not None:
        if seed < 0:
            raise InputError(f"seed: {seed}: must be at least 0")
        scenario = scenario.model_copy(update={"seed": seed})
    for name, value, least in (
        ("replications", replications, 1),
        ("replication", replication, 0),
        ("workers", workers, 1),
    ):
        if value is not None and value < least:
            raise InputError(f"{name}: {value}: must be at least {least}")
    if replications is not None and replication is not None:
        raise InputError("give either replications (how many) or replication (which one), not both")

    engine = choose_engine(scenario, engine)
    site = prepare_site(scenario)
    precision = scenario.precision if replications is None and replication is None else None
    first = 0 if replication is None else replication
    asked = 1 if replication is not None else replications or scenario.replications
    numbers: Iterable[int] = range(first, first + asked)
    if precision is not None:
        numbers = range(MOST_REPLICATIONS)
    tell = progress or (lambda done, expected: None)
    tell(0, None if precision is not None else asked)

    traffic, outcomes, close_look = simulate_and_light(site, first, engine)
    gathered = [outcomes]
    tell(1, None if precision is not None else asked)
    rest = ((scenario, number, engine) for number in itertools.islice(numbers, 1, None))
    if asked > 1 or precision is not None:
        answers = map_in_order(_one, rest, workers)
        for answer in answers:
            gathered.append(answer)
            tell(len(gathered), None if precision is not None else asked)
            if precision is not None and len(gathered) >= asked and _reached(gathered) <= precision:
                answers.close()  # type: ignore[attr-defined]
                break
    notices = [*find_notices(scenario), *_backlog(traffic, scenario), *_start(site, gathered)]
    if engine == "live":
        notices.append(REACTING if drivers_react(scenario) else LIVE)
    if precision is not None:
        notices.append(
            f"Replications went on until the energy's interval was within {precision:g} of its mean: "
            f"reached {_reached(gathered):.4g} with {len(gathered)}."
        )
    chosen = tuple(range(first, first + len(gathered)))
    result = _collect(site, chosen, gathered, close_look, "run", notices)
    if not scenario.year_weeks:
        return result
    special = {
        weeks.name: tuple(
            map_in_order(
                _one, ((special_scenario(scenario, weeks), number, engine) for number in chosen), workers
            )
        )
        for weeks in scenario.year_weeks
    }
    return replace(result, special=special)


def _reached(gathered: list[Outcomes]) -> float:
    """Relative half-width of the energy so far."""
    return relative_half_width(estimate_mean([outcome.total["energy_kwh"] for outcome in gathered]))


def _start(site: Site, gathered: list[Outcomes]) -> list[str]:
    """Say whether the empty beginning tells."""
    return start_notices(site, [outcome.quarter_kw for outcome in gathered])


def _backlog(traffic: Traffic, scenario: Scenario) -> list[str]:
    """Say when the fleet cannot do the work."""
    if traffic.visits is None or not traffic.waiting_tasks:
        return []
    begun = len(traffic.visits)
    if traffic.waiting_tasks < 0.02 * (begun + traffic.waiting_tasks):
        return []
    return [
        f"The trucks cannot do all the work: in the first replication {traffic.waiting_tasks} moves were "
        f"never begun, against {begun} visits. More drivers, more hours or less work change the figures."
    ]


def _collect(
    site: Site,
    numbers: tuple[int, ...],
    gathered: list[Outcomes],
    close_look: CloseLook,
    source: str,
    notices: list[str],
) -> Result:
    """Put a result together."""
    headline = {
        name: estimate_mean([outcome.total[name] for outcome in gathered]) for name in gathered[0].total
    }
    return Result(
        scenario=site.scenario,
        layout=site.layout,
        programs=site.programs,
        replications=numbers,
        outcomes=tuple(gathered),
        headline=headline,
        close_look=close_look,
        source=source,
        notices=tuple(notices),
    )


def replay(
    scenario: Scenario,
    *,
    detections: Path | str | Detections | None = None,
    visits: Path | str | Visits | None = None,
    moves: Path | str | None = None,
    picks: Path | str | None = None,
    sort: bool = False,
    form: LogForm = OWN_FORM,
    told: Callable[[int], None] | None = None,
    trusted: bool = False,
) -> Result:
    """Run the lights on measured logs instead of simulated traffic.

    Parameters
    ----------
    scenario : floor, luminaires, sensors, settings and timetable; its traffic is not used
    detections : log file (`zone,start,end`) or table; absent: the scenario's sensors look at the visits
    visits : log file (`aisle,enter,leave`, optional `truck,bay_m`) or table; absent: truck outcomes are empty
    moves : log file (`time,from,to`, optional `truck`): visits by a dwell model
    picks : log file (`time,location`, optional `truck`): visits by a dwell model
    sort : accept logs whose rows are not in order of time
    form : how the logs are written, see `sim.scenario.log_columns`
    told : is given the bytes read so far of all logs
    trusted : the logs were found good before: neither their order nor their quality is looked at again

    Raises
    ------
    InputError : no log is given, or two that would both make visits, a log has faults, or a log of visits
        comes with open areas
    """
    made = [log for log in (visits, moves, picks) if log is not None]
    if detections is None and not made:
        raise InputError("replay needs a detections log, a log of visits, moves or picks, or both")
    if len(made) > 1:
        raise InputError("give one of visits, moves and picks: each of them tells where the trucks were")
    if made and scenario.area:
        raise InputError(
            "area: a log of visits, moves or picks does not say where trucks are outside the aisles; leave "
            "[[area]] out, or replay a detections log of all zones alone"
        )
    site = prepare_site(scenario)
    read = read_log_traffic(
        site,
        detections=detections,
        visits=visits,
        moves=moves,
        picks=picks,
        sort=sort,
        form=form,
        told=told,
        trusted=trusted,
    )
    outcomes, close_look = replay_site(site, read.traffic)
    notices = [*find_notices(scenario), *read.notices]
    result = _collect(site, (0,), [outcomes], close_look, "replay", notices)
    tables = read.tables
    if moves is not None or picks is not None:
        tables = (timeout_table(site, read.traffic), *tables)
    return replace(result, tables=tables)
