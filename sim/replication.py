"""One replication, end to end: the only file that knows the order of the rooms.

floor -> traffic -> sensing -> lighting -> outcome.  Comes in: a resolved scenario and a replication's
number, or measured visits and detections.  Goes out: `Outcomes` and a `CloseLook`.
"""

from __future__ import annotations

from dataclasses import dataclass

from sim.floor.layout import Layout, lay_out
from sim.lighting.timetable import Program, aisle_programs
from sim.outcome.clock import Bins, cut_run
from sim.outcome.totals import light_up
from sim.randomness import random_stream
from sim.records import Detections, Stays, Visits
from sim.results import CloseLook, Outcomes
from sim.scenario.schema import Scenario
from sim.sensing.coverage import sense
from sim.traffic.fleet import Fleet, muster
from sim.traffic.paths import log_paths, stays_in_zones
from sim.traffic.work import draw_tasks
from sim.traffic.world import simulate_floor

__all__ = [
    "Site",
    "Traffic",
    "prepare_site",
    "replay_site",
    "run_replication",
    "sense_visits",
    "simulate_traffic",
]


@dataclass(frozen=True)
class Site:
    """What stays the same in every replication.

    Attributes
    ----------
    scenario, layout, fleet, bins : the site and its hours
    programs : settings in force, by aisle (A,)
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
    detections : united motion per zone
    waiting_tasks : moves never begun by the end of the run
    """

    visits: Visits | None
    stays: Stays | None
    detections: Detections
    waiting_tasks: int


def prepare_site(scenario: Scenario) -> Site:
    """Resolve a scenario into everything that does not depend on chance."""
    return Site(
        scenario=scenario,
        layout=lay_out(scenario),
        fleet=muster(scenario),
        programs=aisle_programs(scenario),
        may_do=tuple(
            tuple(work.trucks is None or trucks.name in work.trucks for trucks in scenario.trucks)
            for work in scenario.work
        ),
        bins=cut_run(scenario.start_datetime, scenario.duration_s),
    )


def simulate_traffic(site: Site, replication: int) -> Traffic:
    """Let the trucks work and the sensors look, without the lights.

    Parameters
    ----------
    site : the prepared site
    replication : its number, from 0; with the scenario's seed it fixes every draw
    """
    scenario, end_s = site.scenario, site.scenario.duration_s
    tasks = draw_tasks(scenario, site.layout, replication)
    log = simulate_floor(site.layout, scenario.trucks, site.may_do, site.fleet, tasks, end_s)
    visits = log_paths(site.layout, scenario.trucks, site.fleet, tasks, log, end_s)
    detections = sense_visits(site, visits, replication)
    return Traffic(visits, stays_in_zones(site.layout, visits), detections, log.waiting_tasks)


def sense_visits(site: Site, visits: Visits, replication: int) -> Detections:
    """Apply the scenario's sensors to visits with positions."""
    rng = random_stream(site.scenario.seed, replication, "sensing")
    return sense(site.layout, visits, rng, site.scenario.duration_s)


def run_replication(site: Site, replication: int) -> tuple[Outcomes, CloseLook]:
    """Simulate one replication and account for it."""
    return replay_site(site, simulate_traffic(site, replication))


def replay_site(site: Site, traffic: Traffic) -> tuple[Outcomes, CloseLook]:
    """Run the lights on given traffic, simulated or measured."""
    return light_up(site.layout, site.programs, traffic.detections, traffic.visits, traffic.stays, site.bins)
