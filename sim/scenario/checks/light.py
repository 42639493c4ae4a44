"""Contradictions and open facts about light and limits: lumens, curves, ways out.

Comes in: the valid parts of a scenario, or a whole one.  Goes out: problems and notices.  Part of
`scenario/checks/contradictions`.
"""

from __future__ import annotations

from collections.abc import Iterator

from sim.lighting.dali import FADE_TIMES_S
from sim.lighting.power import light_share
from sim.lighting.weather import why_no_weather
from sim.scenario.checks.site import repeated
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts, aisles_text, sort_aisles
from sim.scenario.positions import Key
from sim.scenario.schema import Recommend, Scenario
from sim.scenario.tables.daylight import Skylight
from sim.scenario.tables.light import Luminaires, lumen_method_lux
from sim.scenario.tables.limits import Statements
from sim.wording import nearest_text

__all__ = ["LIGHT_CHECKS", "LIGHT_NOTICES"]

_LUMEN_KEYS = ("lumens", "utilisation", "light_loss")
_IN_LUX = ("unoccupied_floor_lux", "occupied_lux", "egress_floor_lux")
_NEAR = 0.02


def check_egress_aisles(parts: Parts) -> Iterator[Problem]:
    """Ways out are aisles that are there, and told alike in both places."""
    said, wish = parts.tables.get("statements"), parts.tables.get("recommend")
    if not isinstance(said, Statements) or said.egress_aisles is None:
        return
    path: Key = ("statements", "egress_aisles")
    for number, name in enumerate(said.egress_aisles):
        if parts.aisle_names is not None and name not in parts.aisle_names:
            near = nearest_text(name, parts.aisle_names)
            yield Problem((*path, number), f'there is no aisle "{name}"{near}')
    for name, positions in repeated(said.egress_aisles).items():
        yield Problem((*path, positions[1]), f'the aisle "{name}" stands more than once')
    asked = wish.egress_aisles if isinstance(wish, Recommend) else None
    if asked is not None and set(asked) != set(said.egress_aisles):
        yield Problem(path, "differs from recommend.egress_aisles; write the same aisles, or one of them")


def check_lumens(parts: Parts) -> Iterator[Problem]:
    """The lumen method needs all of its three keys."""
    told = set()
    for kind in parts.kinds:
        given = [key for key in _LUMEN_KEYS if getattr(kind.luminaires, key) is not None]
        absent = [key for key in _LUMEN_KEYS if key not in given]
        if given and absent and (given[0], *absent) not in told:
            told.add((given[0], *absent))
            stating = [at for at in kind.overrides if given[0] in parts.override[at].model_fields_set]
            where = stating[0] if stating else None
            path: Key = ("luminaires", given[0]) if where is None else ("override", where, given[0])
            yield Problem(
                path,
                f"comes only together with {' and '.join(absent)} ({aisles_text(kind.aisles)}); write all "
                "three of lumens [lm], utilisation and light_loss, or none",
            )


def check_lux_of_commands(parts: Parts) -> Iterator[Problem]:
    """A recommendation in lux takes levels as light, which commands are not."""
    wish = parts.tables.get("recommend")
    if not isinstance(wish, Recommend):
        return
    curved = [kind for kind in parts.kinds if kind.luminaires.power_curve == "iec62386-log"]
    for key in _IN_LUX:
        if curved and getattr(wish, key) is not None:
            yield Problem(
                ("recommend", key),
                f'does not go with power_curve = "iec62386-log" ({aisles_text(curved[0].aisles)}), where '
                "levels are commands and not shares of light; write the floor as a level instead",
            )


def check_skylight(parts: Parts) -> Iterator[Problem]:
    """Caps come from a table or from weather, for aisles that are there, whose levels are light."""
    table = parts.tables.get("skylight")
    if not isinstance(table, Skylight):
        return
    path: Key = ("skylight",)
    if (table.caps is None) == (table.weather is None):
        yield Problem(path, "write either caps (12 rows of 24 numbers) or weather")
    together = {"weather": table.weather, "indoor_share": table.indoor_share, "needed_lux": table.needed_lux}
    absent = [key for key, value in together.items() if value is None]
    if 0 < len(absent) < len(together):
        missing = ", ".join(absent)
        yield Problem(path, f"weather, indoor_share and needed_lux [lx] come together; absent: {missing}")
    if table.weather is not None and (reason := why_no_weather()) is not None:
        yield Problem((*path, "weather"), reason)
    for number, name in enumerate(table.aisles or ()):
        if parts.aisle_names is not None and name not in parts.aisle_names:
            near = nearest_text(name, parts.aisle_names)
            yield Problem((*path, "aisles", number), f'there is no aisle "{name}"{near}')
    curved = [kind for kind in parts.kinds if kind.luminaires.power_curve == "iec62386-log"]
    if curved:
        yield Problem(
            path,
            f"caps are light, and levels are commands in {aisles_text(curved[0].aisles)} "
            '(power_curve = "iec62386-log"); give power as a table there',
        )


LIGHT_CHECKS = (check_egress_aisles, check_lumens, check_lux_of_commands, check_skylight)


def tell_commands(scenario: Scenario) -> Iterator[str]:
    """Levels as commands mislead whoever takes them for light."""
    curved = [kind for kind in sort_aisles(scenario) if kind.luminaires.power_curve == "iec62386-log"]
    if not curved:
        return
    lamps = curved[0].luminaires
    parts = []
    for name, settings in scenario.lighting.settings.items():
        low = light_share(lamps, settings.unoccupied_level)
        parts.append(f"{settings.unoccupied_level:g} ({name}) gives {100.0 * low:.3g} %")
    yield (
        'With power_curve = "iec62386-log" levels are commands, not light: an unoccupied level of '
        f"{', of '.join(parts)} of full light; dim and shortfall truck-seconds are weighed in commands too."
    )
    offered = (0.0, *FADE_TIMES_S)
    for name, settings in scenario.lighting.settings.items():
        for key in ("fade_up_s", "fade_down_s"):
            fade = getattr(settings, key)
            near = min(offered, key=lambda time: abs(time - fade))
            if abs(near - fade) > _NEAR * fade:
                yield (
                    f'Settings "{name}": {key} = {fade:g} s is none of the fade times of IEC 62386-102; the '
                    f"nearest is {near:.3g} s."
                )


def tell_lumens_and_lux(scenario: Scenario) -> Iterator[str]:
    """Stated lux decide over lumens; a reader should know when they disagree."""
    for name in scenario.aisle_names:
        lamps: Luminaires = scenario.luminaires_of(name)
        summed = lumen_method_lux(lamps, scenario.area_m2_of(name))
        stated = lamps.floor_lux_at_full
        if summed is not None and stated is not None and abs(summed - stated) > 0.05 * stated:
            yield (
                f"floor_lux_at_full = {stated:g} lx is used; the lumen method gives {summed:.3g} lx from "
                f"lumens, utilisation and light_loss (aisle {name})."
            )
            return


LIGHT_NOTICES = (tell_commands, tell_lumens_and_lux)
