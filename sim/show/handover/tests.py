"""The functional test: which aisles are tested, what is done in each, what is expected.

Comes in: a scenario and its layout.  Goes out: `FunctionalTest`.  Before: `show/words/in_force`,
`show/handover/words`; after: `show/handover/sheets`.

References
----------
International Energy Conservation Code, C408.3.1.1, as adopted in Washington State (WAC 51-11C-40803): with
seven or fewer occupant sensors each is tested, with more each unique combination of sensor type and space
geometry (seen in a public copy); at least 10 % of each combination and never fewer than one, and where 30 %
or more of those tested fail, all the rest (from memory).
Sampling without replacement: hypergeometric law, any textbook.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from sim.floor.layout import Layout
from sim.lighting.power import light_share
from sim.scenario.schema import Scenario
from sim.show.handover.words import level_words
from sim.show.words.amounts import count_of, duration, listing, percent, plain
from sim.show.words.in_force import InForce, settings_in_force

__all__ = [
    "SAMPLING_SOURCE", "Action", "FunctionalTest", "Kind", "chance_to_find", "plan_tests", "sample_size",
]

FEW_SENSORS = 7
LEAST_SHARE = 0.10
FAILED_SHARE = 0.30
_WRONG_SHARE = 0.10
SAMPLING_SOURCE = (
    "IECC C408.3.1.1 as adopted in Washington State, WAC 51-11C-40803: seven or fewer sensors are all "
    "tested, otherwise each combination of sensor type and geometry (seen in a public copy); at least 10 % "
    "of each combination, at least one, and all the rest where 30 % or more of those fail (from memory)"
)


@dataclass(frozen=True)
class Kind:
    """Aisles alike in sensors and geometry, and those of them that are tested.

    Attributes
    ----------
    name : a letter
    words : what makes them alike
    aisles, tested : names
    chance : of having at least one wrong aisle among the tested, were a tenth of them (at least one) wrong
    """

    name: str
    words: str
    aisles: tuple[str, ...]
    tested: tuple[str, ...]
    chance: float


@dataclass(frozen=True)
class Action:
    """One step of the test.

    Attributes
    ----------
    number : from 1
    action, expected : in words
    """

    number: int
    action: str
    expected: str


@dataclass(frozen=True)
class FunctionalTest:
    """The whole functional test.

    Attributes
    ----------
    kinds : with their samples
    steps : of every tested aisle
    delays : (period, aisles, hold, timeout, sum, levels), what to expect where
    rule : how many aisles are tested, and where that stands
    """

    kinds: tuple[Kind, ...]
    steps: tuple[Action, ...]
    delays: tuple[tuple[str, ...], ...]
    rule: tuple[str, ...]


def sample_size(aisles: int, share: float) -> int:
    """Return how many of some like aisles are tested: a share, rounded up, at least one.

    Examples
    --------
    >>> [sample_size(aisles, 0.10) for aisles in (1, 10, 11, 24)]
    [1, 1, 2, 3]
    """
    # a hair of slack: 10 % of 30 is 3, not 4
    return min(aisles, max(1, math.ceil(share * aisles - 1e-9)))


def chance_to_find(aisles: int, wrong: int, tested: int) -> float:
    """Return the chance that at least one wrong aisle is among those tested.

    Notes
    -----
    1 - C(N - K, n) / C(N, n): sampling without replacement.

    Examples
    --------
    >>> round(chance_to_find(10, 1, 1), 9), chance_to_find(10, 1, 10)
    (0.1, 1.0)
    """
    return 1.0 - math.comb(aisles - wrong, tested) / math.comb(aisles, tested)


def plan_tests(scenario: Scenario, layout: Layout, share: float, seed: int) -> FunctionalTest:
    """Return the test of a site.

    Parameters
    ----------
    scenario, layout : the site
    share : of each kind of aisles that is tested, 0 to 1
    seed : of the draw; anybody can draw the same aisles again
    """
    few = len(layout.sensor_m) <= FEW_SENSORS
    rng = np.random.default_rng(seed)
    kinds = []
    for number, (words, aisles) in enumerate(_alike(scenario, layout)):
        count = len(aisles) if few else sample_size(len(aisles), share)
        chosen = sorted(rng.choice(len(aisles), count, replace=False).tolist())
        wrong = max(1, math.floor(_WRONG_SHARE * len(aisles)))
        kinds.append(Kind(
            name=_letter(number), words=words, aisles=aisles, tested=tuple(aisles[place] for place in chosen),
            chance=chance_to_find(len(aisles), wrong, count),
        ))
    in_force = settings_in_force(scenario)
    return FunctionalTest(
        kinds=tuple(kinds),
        steps=tuple(
            Action(number + 1, action, expected)
            for number, (action, expected) in enumerate(_steps(scenario, in_force))
        ),
        delays=tuple(_delays(in_force)),
        rule=tuple(_rule(few, share, len(layout.sensor_m))),
    )


def _letter(number: int) -> str:
    """A, B, ... Z, AA, ..."""
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _alike(scenario: Scenario, layout: Layout) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Aisles alike in sensors, luminaires and length."""
    found: dict[tuple[object, ...], list[int]] = {}
    for aisle in range(len(layout.aisles)):
        lamps = layout.luminaires[aisle]
        key = (
            repr(layout.sensors[aisle]), lamps.per_aisle, lamps.fixed_on, lamps.full_w,
            float(layout.length_m[aisle]),
        )
        found.setdefault(key, []).append(aisle)
    for aisles in found.values():
        first = aisles[0]
        lamps, sensors = layout.luminaires[first], int((layout.sensor_aisle == first).sum())
        words = (
            f"{plain(float(layout.length_m[first]))} m long, {count_of(sensors, 'sensor')} with a reach of "
            f"{plain(layout.sensors[first].range_m)} m, {count_of(lamps.per_aisle, 'luminaire')} of "
            f"{plain(lamps.full_w)} W"
        )
        yield words, tuple(layout.aisles[aisle] for aisle in aisles)


def _rule(few: bool, share: float, sensors: int) -> Iterator[str]:
    """How many aisles, and why."""
    if few:
        yield f"The site has {count_of(sensors, 'sensor')}, not more than seven: every aisle is tested."
    else:
        yield (
            f"Of each kind of aisles {percent(share)} are tested, rounded up, at least one; they are drawn "
            "at random from the scenario's hash, so that anybody can draw them again and nobody picks them."
        )
    yield f"Where the rule stands: {SAMPLING_SOURCE}. Local rules may ask for more."
    yield (
        f"If {percent(FAILED_SHARE)} or more of the tested aisles of a kind fail, test all of that kind. The "
        "chance beside each kind is that of meeting a wrong aisle if a tenth of them (at least one) were "
        "wrong: a small sample mostly finds what is wrong everywhere."
    )
    yield "No document sets a tolerance for times and levels: agree on it before the test and write it here:"


def _delays(in_force: Sequence[InForce]) -> Iterator[tuple[str, ...]]:
    """What to expect in each period."""
    for row in in_force:
        yield (
            row.name, "all" if row.is_everywhere else listing(row.aisles, 4), duration(row.sensors.hold_s),
            duration(row.settings.timeout_s), duration(row.delay_s), _levels(row),
        )


def _levels(row: InForce) -> str:
    """High and low level, and the second one."""
    settings = row.settings
    text = f"{percent(settings.occupied_level)} / {percent(settings.unoccupied_level)}"
    if settings.second_delay_s is not None and settings.second_level is not None:
        text += f", then {percent(settings.second_level)} after {duration(settings.second_delay_s)}"
    return text


def _steps(scenario: Scenario, in_force: Sequence[InForce]) -> Iterator[tuple[str, str]]:
    """What is done in a tested aisle, and what should happen."""
    slowest = max(row.sensors.latency_s + row.settings.fade_up_s for row in in_force)
    yield (
        "Leave the aisle and keep it empty. Time it from the last motion.",
        "Every zone goes down at the sum of hold and timeout of the period, not before, and not at the "
        "timeout alone.",
    )
    yield (
        "With the aisle low, measure the light on the floor at the agreed points and read the load.",
        _low_light(in_force),
    )
    yield (
        "Drive in at the front mouth at the site's usual speed.",
        f"The zone is at its high level no later than {duration(round(slowest, 3))} after the truck is seen; "
        f"it is seen {_approach(scenario)}.",
    )
    yield ("Let it go low again and drive in at the back mouth.", "The same.")
    yield (
        "Pass each mouth on the cross-aisle without turning in, ten times.",
        _passing(scenario),
    )
    yield (
        "Stand with a truck at the bay farthest from any sensor and work as usual for longer than the sum.",
        "Write down whether the light goes down on the truck. The sensor list says how far each reaches.",
    )
    yield (
        "Bring one aisle up while its neighbours are low.",
        "The neighbours do not change." if not scenario.floor.lead_zones else
        "Other aisles do not change; along the aisle the light comes up with "
        f"{count_of(scenario.floor.lead_zones, 'zone')} on either side of each zone that sees motion.",
    )
    yield (
        "Watch one border of the timetable, once with motion just before it and once without.",
        "The new settings hold at once, with the time since the last motion counted on.",
    )
    if any(row.settings.second_delay_s is not None for row in in_force):
        yield (
            "Keep the aisle empty past the second delay.",
            "The second level comes so long after the first change to low as the settings say.",
        )
    if any(scenario.luminaires_of(name).fixed_on for name in scenario.lit_names):
        yield ("Look at the luminaires that never dim, with the aisle low.", "They are at full.")


def _low_light(in_force: Sequence[InForce]) -> str:
    """Expected light at the low levels, where it is known."""
    parts = []
    for row in in_force:
        level = row.settings.unoccupied_level
        found = {
            None if lamps.floor_lux_at_full is None
            else round(lamps.floor_lux_at_full * light_share(lamps, level), 1)
            for lamps, _ in row.luminaires
        }
        known = sorted(value for value in found if value is not None)
        span = " to ".join(dict.fromkeys(plain(value) for value in (known[:1] + known[-1:])))
        lux = f", about {span} lx" if known and None not in found else ""
        where = "" if row.is_everywhere else f" in {listing(row.aisles, 3)}"
        parts.append(f"{row.name}{where}: {level_words(row, level)}{lux}")
    return "; ".join(parts) + "."


def _approach(scenario: Scenario) -> str:
    """Where a truck is first seen."""
    metres = sorted({scenario.sensors_of(name).approach_m for name in scenario.aisle_names})
    if metres[-1] == 0.0:
        return "at the mouth"
    text = plain(metres[0]) if len(metres) == 1 else f"{plain(metres[0])} to {plain(metres[-1])}"
    return f"{text} m before the mouth"


def _passing(scenario: Scenario) -> str:
    """How often a passing truck may bring the light up."""
    most = max(scenario.sensors_of(name).passing_trigger for name in scenario.aisle_names)
    if most == 0.0:
        return "The light stays low: the simulation took it that passing trucks are never seen."
    return (
        f"The simulation took it that at most {percent(most)} of passing trucks are seen. Write down how "
        "many of ten were."
    )
