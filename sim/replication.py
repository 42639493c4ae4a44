"""One replication, end to end: the only file that knows the order of the rooms.

floor -> traffic -> sensing -> lighting -> outcome.  Comes in: a resolved scenario and a replication's
number, or measured visits and detections.  Goes out: `Outcomes` and a `CloseLook`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError
from sim.floor.layout import Layout, lay_out
from sim.lighting.live import STATED, Policy
from sim.lighting.live_floor import DriverLoss, LiveFloor
from sim.lighting.live_legs import plan_visits
from sim.lighting.live_motion import light_live
from sim.lighting.replay import Commands
from sim.lighting.timetable import Program, place_programs
from sim.outcome.clock import Bins, cut_run
from sim.outcome.losses import add_losses
from sim.outcome.totals import keep_site_books, light_up
from sim.outcome.traffic import keep_traffic_books
from sim.randomness import random_stream
from sim.records import Detections, IntColumn, OpenRuns, Stays, Visits
from sim.results import CloseLook, Levels, Outcomes, TrafficBooks
from sim.scenario.schema import Scenario
from sim.sensing.areas import add_areas, draw_dead_areas, sense_areas
from sim.sensing.coverage import sense
from sim.sensing.hearing import draw_dead, failed_zones, hear, hearers_of
from sim.sensing.online import OnlineSensors, Watcher
from sim.traffic.batteries import battery_changes
from sim.traffic.fleet import Fleet, muster
from sim.traffic.open_runs import open_runs
from sim.traffic.paths import log_paths, stays_in_zones
from sim.traffic.people import draw_people
from sim.traffic.work import draw_tasks, who_may_do
from sim.traffic.world import simulate_floor

__all__ = [
    "Engine",
    "LiveRun",
    "Site",
    "Traffic",
    "account_lights",
    "choose_engine",
    "drivers_react",
    "hear_seen",
    "light_traffic",
    "prepare_site",
    "replay_site",
    "run_replication",
    "sense_visits",
    "simulate_and_light",
    "simulate_live",
    "simulate_traffic",
]

Engine = Literal["auto", "replay", "live"]
_NO_REPLAY = (
    "the drivers in this scenario react to the light (dim_speed_factor, wait_for_light): their traffic is "
    "another one under every setting, so it cannot be recorded once and replayed; run it with --engine live "
    "or auto, one setting at a time"
)
NO_LIVE_AREAS = (
    "area: with the lights inside the traffic's simulation the trucks' ways outside the aisles are not kept, "
    "so that nobody could be seen in open areas; leave [[area]] out"
)


@dataclass(frozen=True)
class Site:
    """What stays the same in every replication.

    Attributes
    ----------
    scenario, layout, fleet, bins : the site and its hours
    programs : settings in force, by place (P,)
    may_do : for each stream of work, which truck groups may do it (W, G)
    """

    scenario: Scenario
    layout: Layout
    fleet: Fleet
    programs: tuple[Program, ...]
    may_do: tuple[tuple[bool, ...], ...]
    bins: Bins


@dataclass(frozen=True)
class Traffic:
    """What one replication leaves behind for the lights.

    Attributes
    ----------
    visits, stays : None where no visits are known
    detections : united motion that counts in each zone
    waiting_tasks : moves never begun by the end of the run
    books : the trucks' own books, None where the traffic was not simulated
    seen : what each zone's own sensors saw; None where that is what counts
    open_runs : the trucks' ways outside the aisles, None where they were not kept
    """

    visits: Visits | None
    stays: Stays | None
    detections: Detections
    waiting_tasks: int
    books: TrafficBooks | None = None
    seen: Detections | None = None
    open_runs: OpenRuns | None = None


def prepare_site(scenario: Scenario) -> Site:
    """Resolve a scenario into everything that does not depend on chance."""
    return Site(
        scenario=scenario,
        layout=lay_out(scenario),
        fleet=muster(scenario),
        programs=place_programs(scenario),
        may_do=who_may_do(scenario),
        bins=cut_run(scenario.start_datetime, scenario.duration_s),
    )


def drivers_react(scenario: Scenario) -> bool:
    """Say whether any driver's way depends on the light, so that the lights must run in the simulation."""
    return any(
        trucks.dim_speed_factor is not None or trucks.wait_for_light is not None for trucks in scenario.trucks
    )


def choose_engine(scenario: Scenario, engine: Engine = "auto") -> Engine:
    """Return "replay" or "live".

    Parameters
    ----------
    scenario : resolved
    engine : what was asked for; "auto" replays unless drivers react

    Raises
    ------
    InputError : a replay was asked for and drivers react
    """
    if engine == "auto":
        return "live" if drivers_react(scenario) else "replay"
    if engine == "replay" and drivers_react(scenario):
        raise InputError(_NO_REPLAY)
    return engine


def simulate_traffic(site: Site, replication: int, *, keep_open_runs: bool = False) -> Traffic:
    """Let the trucks work and the sensors look, without the lights.

    Parameters
    ----------
    site : the prepared site
    replication : its number, from 0; with the scenario's seed it fixes every draw
    keep_open_runs : keep the trucks' ways outside the aisles, for those who draw them

    Raises
    ------
    InputError : drivers react to the light, so there is no traffic without it
    """
    choose_engine(site.scenario, "replay")
    scenario, end_s = site.scenario, site.scenario.duration_s
    tasks = draw_tasks(scenario, site.layout, replication)
    changes = battery_changes(scenario, site.fleet, replication)
    log = simulate_floor(site.layout, scenario.trucks, site.may_do, site.fleet, tasks, end_s, changes)
    visits = log_paths(site.layout, scenario.trucks, site.fleet, tasks, log, end_s)
    books, waiting = keep_traffic_books(scenario, site.fleet, tasks, log, site.bins), log.waiting_tasks
    runs = None
    if site.layout.areas or keep_open_runs:
        runs = open_runs(site.layout, scenario.trucks, site.fleet, log, visits, end_s)
    del tasks, log  # half a gigabyte of a site-year that sensing has no use for
    seen, stays = sense_visits(site, visits, replication), stays_in_zones(site.layout, visits)
    if runs is not None and site.layout.areas:
        people = draw_people(scenario, replication)
        areas = sense_areas(scenario, site.layout, runs, people, visits, replication)
        stays, seen = add_areas(len(visits), stays, seen, areas)
    heard = hear_seen(site, seen, replication)
    return Traffic(visits, stays, heard, waiting, books, seen, runs if keep_open_runs else None)


def sense_visits(site: Site, visits: Visits, replication: int) -> Detections:
    """Apply the scenario's sensors to visits with positions; return what each zone's own sensors see."""
    stream_of = partial(random_stream, site.scenario.seed, replication, "sensing")
    return sense(site.layout, visits, stream_of, site.scenario.duration_s, _dead(site, replication))


def hear_seen(site: Site, seen: Detections, replication: int | None) -> Detections:
    """Return what counts in each zone of what the sensors saw: lead zones, zones without working sensors.

    Parameters
    ----------
    site, seen : the site and what each zone's own sensors saw
    replication : whose sensors were dead; None: a log, which was written by sensors that worked
    """
    failed = failed_zones(site.layout, None) if replication is None else _failed(site, replication)
    return hear(site.layout, seen, failed, site.scenario.duration_s)


def _dead(site: Site, replication: int) -> NDArray[np.bool_] | None:
    """Return which sensors are dead in one replication."""
    return draw_dead(site.layout, partial(random_stream, site.scenario.seed, replication, "dead sensors"))


def _failed(site: Site, replication: int) -> IntColumn:
    """Return the zones without a working sensor in one replication."""
    in_areas = draw_dead_areas(site.layout, site.scenario.seed, replication)
    return failed_zones(site.layout, _dead(site, replication), in_areas)


def run_replication(
    site: Site, replication: int, engine: Engine = "auto"
) -> tuple[Outcomes, CloseLook]:
    """Simulate one replication and account for it.

    Parameters
    ----------
    site, replication : as in `simulate_traffic`
    engine : "auto", "replay" or "live"

    Raises
    ------
    InputError : a replay was asked for and drivers react to the light
    """
    return simulate_and_light(site, replication, engine)[1:]


def simulate_and_light(
    site: Site, replication: int, engine: Engine = "auto"
) -> tuple[Traffic, Outcomes, CloseLook]:
    """Simulate one replication and account for it; return its traffic as well.

    Where nobody reacts, live tells the lights, event by event, of the motion that the same traffic leaves
    behind, and comes to the same result as a replay.

    Parameters
    ----------
    site, replication, engine : as in `run_replication`
    """
    chosen = choose_engine(site.scenario, engine)
    if chosen == "live" and drivers_react(site.scenario):
        run = simulate_live(site, replication)
        outcomes, look = account_lights(site, run.lights, run.traffic)
        assert run.traffic.books is not None
        return run.traffic, add_losses(outcomes, run.loss, run.traffic.books), look
    traffic = simulate_traffic(site, replication)
    if chosen == "replay":
        return traffic, *replay_site(site, traffic)
    return traffic, *account_lights(site, light_traffic(site, traffic, replication), traffic)


def light_traffic(
    site: Site, traffic: Traffic, replication: int = 0, *, policy: Policy = STATED
) -> list[tuple[Commands, Levels]]:
    """Run the lights as processes on given traffic; nobody in it reacts.

    Parameters
    ----------
    site, traffic : the site and what happened there
    replication : whose sensors were dead
    policy : decides delays and levels instead of the timetable
    """
    layout = site.layout
    seen = traffic.detections if traffic.seen is None else traffic.seen
    own = [(zone,) for zone in range(len(layout.zones))]
    return light_live(
        layout.zones,
        layout.zone_place.tolist(),
        site.programs,
        seen,
        own if traffic.seen is None else hearers_of(layout),
        () if traffic.seen is None else _failed(site, replication).tolist(),
        policy,
    )


@dataclass(frozen=True)
class LiveRun:
    """What one simulation of trucks and lights together leaves behind.

    Attributes
    ----------
    traffic : visits, stays and detections as they came about under these lights
    lights : commands and light of every zone (Z,)
    loss : what the drivers lost
    """

    traffic: Traffic
    lights: list[tuple[Commands, Levels]]
    loss: DriverLoss


def simulate_live(
    site: Site,
    replication: int,
    *,
    policy: Policy = STATED,
    watch: Callable[[OnlineSensors], Watcher] = lambda sensors: sensors,
) -> LiveRun:
    """Let trucks and lights run in one simulation: every setting is then a new simulation.

    Parameters
    ----------
    site : the prepared site; its drivers may react to the light or not
    replication : its number, from 0; with the scenario's seed it fixes every draw
    policy : decides delays and levels instead of the timetable, see `sim.lighting.live.Policy`
    watch : is given the scenario's sensors and returns what sees the trucks, see
        `sim.sensing.online.Watcher`

    Raises
    ------
    InputError : the site has open areas

    Notes
    -----
    Moves, places and handling times are those of a replay; what sensors miss and the pulses of standing
    trucks are drawn from a stream of each truck's own, in the order in which it needs them.
    """
    scenario, layout, end_s = site.scenario, site.layout, site.scenario.duration_s
    if layout.areas:
        raise InputError(NO_LIVE_AREAS)
    tasks = draw_tasks(scenario, layout, replication)
    chance = [
        random_stream(scenario.seed, replication, "live", truck).random
        for truck in range(len(site.fleet.names))
    ]
    is_dead = _dead(site, replication)
    kinds = [scenario.trucks[group].kind for group in site.fleet.group]
    on_foot = {truck for truck, kind in enumerate(kinds) if kind == "walker"}
    sensors = OnlineSensors(layout, is_dead, lambda truck: chance[truck](), on_foot)
    floor = LiveFloor(
        layout,
        scenario.trucks,
        site.fleet,
        plan_visits(layout, scenario.trucks, site.may_do, site.fleet, tasks),
        site.programs,
        hearers_of(layout),
        _failed(site, replication).tolist(),
        watch(sensors),
        policy,
        chance,
    )
    changes = battery_changes(scenario, site.fleet, replication)
    log = simulate_floor(layout, scenario.trucks, site.may_do, site.fleet, tasks, end_s, changes, floor)
    lights = [zone.finish() for zone in floor.zones]
    weight = tuple(scenario.trucks[group].service_weight for group in site.fleet.group)
    seen = tuple(scenario.trucks[group].seen for group in site.fleet.group)
    book = floor.book
    motion = book.detections(end_s)
    traffic = Traffic(
        book.visits(site.fleet.names, weight, seen, end_s),
        book.stays(weight, end_s),
        hear_seen(site, motion, replication),
        log.waiting_tasks,
        keep_traffic_books(scenario, site.fleet, tasks, log, site.bins),
        motion,
    )
    return LiveRun(traffic, lights, floor.loss)


def account_lights(
    site: Site, lights: list[tuple[Commands, Levels]], traffic: Traffic
) -> tuple[Outcomes, CloseLook]:
    """Account for what the lights did, whichever engine ran them.

    Parameters
    ----------
    site, traffic : the site and what happened there
    lights : commands and light of every zone (Z,)
    """
    return _with_traffic(
        traffic,
        *keep_site_books(site.layout, lights, traffic.detections, traffic.visits, traffic.stays, site.bins),
    )


def _with_traffic(
    traffic: Traffic, outcomes: Outcomes, look: CloseLook
) -> tuple[Outcomes, CloseLook]:
    """Add what the lights do not know: the trucks' own books, what the sensors saw."""
    seen = traffic.detections if traffic.seen is None else traffic.seen
    return replace(outcomes, traffic=traffic.books), replace(look, detections=seen)


def replay_site(site: Site, traffic: Traffic) -> tuple[Outcomes, CloseLook]:
    """Run the lights on given traffic, simulated or measured."""
    return _with_traffic(
        traffic,
        *light_up(
            site.layout, site.programs, traffic.detections, traffic.visits, traffic.stays, site.bins
        ),
    )
