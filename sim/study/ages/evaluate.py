"""Any number of settings on one traffic, exactly: every additive outcome of every choice.

Comes in: a site, one replication's traffic, choices of settings.  Goes out: arrays by outcome.  Before:
`replication`, `study/ages/zone`; after: `study` (sweep, recommend).

The light in a gap depends on the time since the last motion alone (design: the age view).  So one zone's
gaps are cut into pieces, sorted once, and each choice is a few searches in running sums.  Zones are taken one
after the other: memory grows with one zone's traffic and with the choices, never with their product.

A zone is replayed instead, at the price of a replay, in those choices where the sums do not hold:
- a delay is not above latency + fade-up, or levels rise from occupied to unoccupied to second;
- a fade is longer than the period that follows a border, or something that begins at one border is not over
  at the next;
- latency and a fade together are not below the delay after a border: a fade-up under way there, or the
  fade-down to a lower occupied level.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sim.lighting.power import power_curve
from sim.lighting.replay import command_zone, run_fades
from sim.lighting.timetable import place_programs
from sim.outcome.account import keep_books
from sim.outcome.names import OUTCOMES
from sim.replication import Site, Traffic, replay_site
from sim.scenario.schema import Scenario, Settings
from sim.study.ages.caps import capped_name, is_under_skylight
from sim.study.ages.fixed import FIXED, fixed_outcomes
from sim.study.ages.pieces import sort_pieces
from sim.study.ages.plan import Plan, lay_out_choices
from sim.study.ages.power import Lamps, fast_power
from sim.study.ages.records import Week, ZonePieces, lay_week
from sim.study.ages.zone import COUNTED, evaluate_zone
from sim.study.relight import relight, with_settings

__all__ = [
    "ADDITIVE",
    "evaluate_by_replay",
    "evaluate_settings",
    "lay_weeks",
    "replay_notice",
    "sort_zone",
    "zone_lamps",
]

_KNOWN = {*COUNTED, *FIXED, "saved_kwh"}
ADDITIVE: tuple[str, ...] = tuple(name for name in OUTCOMES if name in _KNOWN)
"""The outcomes that add up over zones and hours, in the order of `OUTCOMES`."""

_BLOCK = 2048
"""Choices worked through at once under skylights, where every cap is a column of its own."""

Choice = Mapping[str, Settings]


def evaluate_settings(
    site: Site,
    traffic: Traffic,
    choices: Sequence[Choice],
    *,
    by_zone: bool = False,
    is_steady: bool = False,
    replayed: NDArray[np.int64] | None = None,
) -> dict[str, NDArray[np.float64]]:
    """Return every additive outcome of every choice, as a replay of each would.

    Parameters
    ----------
    site : the prepared site; its own settings are not used
    traffic : of one replication
    choices : each maps every name of the scenario's settings to the settings to use; timetable and overrides
        stay (K,)
    by_zone : outcomes of every zone instead of the site's
    is_steady : a choice's figures are the same to the last digit whatever the other choices are (slower)
    replayed : is told in how many zones each choice had to be replayed, added to what it holds (K,)

    Returns
    -------
    by outcome: (K,), or (Z, K) by zone; nan for truck outcomes where no visits are known

    Notes
    -----
    Equal to the replay to 1e-9 of the value or 1e-6, counts exactly.  Sums over sorted gaps begin at the
    least delay asked for, and borders are told apart by the longest fade; steady figures begin at the
    latency and take choices of different fades apart.
    """
    groups = _by_fades(choices) if is_steady else [np.arange(len(choices))]
    if site.scenario.skylight is not None:
        groups = [part for rows in groups for part in np.split(rows, range(_BLOCK, len(rows), _BLOCK))]
    plans = [(rows, lay_out_choices(site.scenario, [choices[row] for row in rows])) for rows in groups]
    zones = len(site.layout.zones)
    table = {name: np.zeros((zones if by_zone else 1, len(choices))) for name in ADDITIVE}
    occupied_s = np.zeros(zones)
    weeks = lay_weeks(site.scenario)
    for zone, home in enumerate(site.layout.zone_place.tolist() if choices else []):
        lamps, hold_s, week = zone_lamps(site, zone), site.layout.place_sensors[home].hold_s, weeks[home]
        least_s = min(plan.least_delay(week.names, hold_s) for _, plan in plans)
        least_s = week.latency_s if is_steady else least_s
        pieces = sort_zone(traffic, zone, week, least_s)
        occupied_s[zone] = pieces.occupied_s
        for rows, plan in plans:
            found, fails = evaluate_zone(pieces, plan, lamps, hold_s)
            if replayed is not None:
                replayed[rows] += fails
            for place in np.flatnonzero(fails).tolist():
                for name, value in _replay_zone(site, traffic, zone, plan, place).items():
                    found[name][place] = value
            for name, column in found.items():
                table[name][zone if by_zone else 0, rows] += column
    by_place, total = fixed_outcomes(site, traffic, occupied_s)
    for name in FIXED:
        table[name][:] = by_place[name][:, None] if by_zone else total[name]
    table["saved_kwh"] = table["always_on_kwh"] - table["energy_kwh"]
    if traffic.visits is None or traffic.stays is None:
        for name in ADDITIVE:
            if OUTCOMES[name].needs_visits:
                table[name][:] = np.nan
    return table if by_zone else {name: rows[0] for name, rows in table.items()}


def _by_fades(choices: Sequence[Choice]) -> list[NDArray[np.int64]]:
    """Return which choices have the same fades under every name."""
    found: dict[tuple[tuple[float, float], ...], list[int]] = {}
    for place, choice in enumerate(choices):
        fades = tuple((one.fade_up_s, one.fade_down_s) for one in choice.values())
        found.setdefault(fades, []).append(place)
    return [np.array(places, dtype=np.int64) for places in found.values()]


def replay_notice(replayed: int, settings: int) -> list[str]:
    """Say that some of the settings had to be replayed; nothing where none had.

    >>> replay_notice(0, 10)
    []
    """
    if not replayed:
        return []
    return [
        f"{replayed:,} of {settings:,} settings were replayed in some zones, not summed: as exact, but "
        "slower. That happens where a delay is not above latency + fade-up, a fade is longer than a period "
        "of the timetable, or levels do not fall from occupied to unoccupied to second."
    ]


def evaluate_by_replay(
    site: Site, traffic: Traffic, choices: Sequence[Choice], *, by_zone: bool = False
) -> dict[str, NDArray[np.float64]]:
    """Do what `evaluate_settings` does by replaying the site once for every choice: the slow obvious twin."""
    rows = []
    for choice in choices:
        outcomes, _ = replay_site(relight(site, with_settings(site.scenario, choice)), traffic)
        rows.append(outcomes.zones if by_zone else outcomes.total)
    return {name: np.stack([np.asarray(row[name]) for row in rows], axis=-1) for name in ADDITIVE}


def lay_weeks(scenario: Scenario) -> tuple[Week, ...]:
    """Return where the settings of each place may change, whatever they are (P,)."""
    names = tuple(scenario.lighting.settings)
    # stand-ins that differ from name to name, so that every border between two names is kept
    stand_in = {
        name: Settings(unoccupied_level=0.0, timeout_s=0.0, fade_down_s=float(place))
        for place, name in enumerate(names)
    }
    programs = place_programs(with_settings(scenario, stand_in))
    made: dict[int, Week] = {}
    for (_, homes), program in zip(scenario.places, programs, strict=True):
        if id(program) not in made:
            held = tuple(names[int(place)] for place in program.fade_down_s)
            if is_under_skylight(scenario, homes[0]):
                # the stand-ins' occupied level is 1, so that what is left of it is the cap
                held = tuple(map(capped_name, held, program.occupied.tolist()))
            made[id(program)] = lay_week(program.border, held, program.latency_s)
    return tuple(made[id(program)] for program in programs)


def sort_zone(traffic: Traffic, zone: int, week: Week, least_s: float = 0.0) -> ZonePieces:
    """Sort the pieces of one zone; no delay below `least_s` will be asked for."""
    stays = None if traffic.visits is None or traffic.stays is None else traffic.stays.of_zone(zone)
    return sort_pieces(*traffic.detections.of_zone(zone), stays, week, least_s)


def zone_lamps(site: Site, zone: int) -> Lamps:
    """Return the luminaires of one zone."""
    curve = power_curve(site.layout.place_luminaires[site.layout.zone_place[zone]])
    return Lamps(fast_power(curve), int(site.layout.dimmed[zone]), int(site.layout.fixed[zone]))


def _replay_zone(site: Site, traffic: Traffic, zone: int, plan: Plan, place: int) -> dict[str, float]:
    """Replay one zone in one choice."""
    scenario = with_settings(site.scenario, plan.choices[place])
    program = place_programs(scenario)[int(site.layout.zone_place[zone])]
    commands = command_zone(*traffic.detections.of_zone(zone), program)
    stays = None if traffic.visits is None or traffic.stays is None else traffic.stays.of_zone(zone)
    lamps = zone_lamps(site, zone)
    books = keep_books(
        commands, run_fades(commands, program), stays, lamps.power.curve, lamps.dimmed, lamps.fixed, site.bins
    )
    return {name: math.fsum(books.hours[name]) for name in COUNTED if name in books.hours}
