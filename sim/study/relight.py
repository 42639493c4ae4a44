"""The same site under other controller settings: traffic, floor and sensors stay as they are.

Comes in: a prepared site and settings by name.  Goes out: the site with other programs.  Before:
`replication`; after: everything in `study` that replays a setting.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace

from sim.lighting.timetable import place_programs
from sim.replication import Site, Traffic, drivers_react, simulate_traffic
from sim.scenario.schema import Scenario, Settings

__all__ = ["PRICED_AFTERWARDS", "relight", "simulate_for_lights", "traffic_key", "with_settings"]

PRICED_AFTERWARDS = (
    "limits",
    "statements",
    "year",
    "tariff",
    "energy_prices",
    "energy_blocks",
    "demand_charges",
    "site_load",
    "demand_window",
    "store",
    "carbon",
    "proposal",
)
"""Tables that are read when the lights are done: they change no outcome."""

_LIGHT_ONLY = (
    "format",
    "title",
    "group",
    "area",
    "replications",
    "precision",
    "luminaires",
    "sensors",
    "lighting",
    "timetable",
    "override",
    "recommend",
    *PRICED_AFTERWARDS,
    "exceptions",
    "year_weeks",
    "place",
    "yard",
    "offices",
    "skylight",
    "circuits",
)
"""Tables that move no truck; whatever is not named here is taken to move them."""


def with_settings(scenario: Scenario, choice: Mapping[str, Settings]) -> Scenario:
    """Return a scenario with some of its named settings replaced."""
    lighting = scenario.lighting.model_copy(update={"settings": {**scenario.lighting.settings, **choice}})
    return scenario.model_copy(update={"lighting": lighting})


def relight(site: Site, scenario: Scenario) -> Site:
    """Return a prepared site with the settings, timetable and overrides of another scenario.

    Parameters
    ----------
    site : prepared from a scenario with the same floor, luminaires, sensors and traffic
    scenario : what the lights are to do
    """
    return replace(site, scenario=scenario, programs=place_programs(scenario))


def simulate_for_lights(site: Site, replication: int) -> Traffic:
    """Simulate the traffic of one replication and keep what lights and their books look at.

    Where each truck drove within the aisle and outside has done its work once the sensors have looked; on a
    site-year it is more than half a gigabyte.
    """
    traffic = simulate_traffic(site, replication)
    assert traffic.visits is not None
    return replace(traffic, visits=replace(traffic.visits, moves=None, drives=None), seen=None)


def traffic_key(scenario: Scenario) -> str:
    """Return a text that is equal for scenarios whose trucks move alike in every replication.

    Lights, sensors, bills and the cutting of aisles into zones do not move trucks; all else does, and where
    drivers react to the light, so do the lights and all that they hang on.

    Examples
    --------
    >>> import sim
    >>> site = sim.load("pallet-reserve")
    >>> traffic_key(site) == traffic_key(site.model_copy(update={"title": "another"}))
    True
    """
    content = scenario.content()
    if drivers_react(scenario):
        kept = {key: value for key, value in content.items() if key != "title"}
    else:
        kept = {key: value for key, value in content.items() if key not in _LIGHT_ONLY}
        kept["floor"] = {key: value for key, value in content["floor"].items() if key != "zones_per_aisle"}
    text = json.dumps(kept, sort_keys=True, separators=(",", ":"), default=str)
    return hashlib.sha256(text.encode()).hexdigest()
