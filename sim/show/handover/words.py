"""The sequence of operations in words: what the controller does, period by period.

Comes in: a scenario.  Goes out: `Period`s of numbered sentences, and rules that hold always.  Before:
`show/words/in_force`; after: `show/handover/sheets`.  The words say what was simulated, no more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sim.lighting.dali import LARGEST_LEVEL
from sim.lighting.power import light_share
from sim.lighting.timetable import week_spans
from sim.scenario.schema import Scenario
from sim.show.words.amounts import count_of, duration, listing, percent, plain, weekday_list
from sim.show.words.in_force import InForce, settings_in_force
from sim.units import WEEKDAYS

__all__ = ["Period", "always_rules", "level_words", "operation_periods"]


@dataclass(frozen=True)
class Period:
    """What holds in one period of the timetable in some aisles.

    Attributes
    ----------
    name : the timetable's
    where : the aisles and open areas in words
    when : the hours of the week in words
    steps : sentences, in the order in which things happen
    """

    name: str
    where: str
    when: str
    steps: tuple[str, ...]


def operation_periods(scenario: Scenario) -> tuple[Period, ...]:
    """Return the sequence of operations, once for each name of the timetable and group of aisles alike."""
    return tuple(
        Period(
            name=row.name,
            where=_where(row, scenario.area_names),
            when=_when(scenario, row.name, row.hours_a_week),
            steps=tuple(_steps(row)),
        )
        for row in settings_in_force(scenario)
    )


def _where(row: InForce, areas: Sequence[str]) -> str:
    """The aisles and open areas in words."""
    if row.is_everywhere:
        return "all aisles and areas" if areas else "all aisles"
    found = []
    for kind, is_area in (("aisle", False), ("area", True)):
        names = [name for name in row.aisles if (name in areas) == is_area]
        if names:
            found.append(f"{kind}{'s' * (len(names) > 1)} {listing(names, len(names))}")
    return " and ".join(found)


def level_words(row: InForce, level: float) -> str:
    """Return a level as what it is: a share of light, or a command with the light that it gives."""
    lamps = [one for one, _ in row.luminaires]
    lights = sorted({light_share(one, level) for one in lamps})
    given = " to ".join(percent(light, 2) for light in lights[:1] + lights[1:][-1:])
    if any(one.power_curve == "iec62386-log" for one in lamps):
        number = round(LARGEST_LEVEL * level)
        return f"the command {percent(level)} (level {number} of {LARGEST_LEVEL}), {given} of full light"
    if lights != [level]:
        return f"the command {percent(level)}, which the driver makes {given} of full light"
    return f"{percent(level)} of full light"


def _when(scenario: Scenario, name: str, hours_a_week: float) -> str:
    """Hours of the week in which a name holds."""
    alike: dict[str, list[str]] = {}
    for row in scenario.timetable:
        if row.settings == name:
            alike.setdefault(f"{row.from_} to {row.to}", []).extend(row.days)
    if not alike:
        return "on exception dates only"
    spans = "; ".join(f"{weekday_list(days)} {clock}" for clock, days in alike.items())
    return f"{spans} ({plain(round(hours_a_week, 2))} h a week)"


def _steps(row: InForce) -> Iterator[str]:
    """What happens from motion to the lowest level."""
    settings, sensors = row.settings, row.sensors
    high, low = settings.occupied_level, settings.unoccupied_level
    if low >= high:
        yield (
            f"The light stays at {level_words(row, high)}: the unoccupied level is the same, so that motion "
            "changes nothing that can be seen."
        )
        return
    wait = f"the command follows {duration(sensors.latency_s)} after the motion" if sensors.latency_s else (
        "the command follows at once"
    )
    rise = f"the rise takes {duration(settings.fade_up_s)}" if settings.fade_up_s else "the light jumps up"
    yield (
        f"Motion in a zone brings its luminaires to {level_words(row, high)}: {wait}, {rise}. From the "
        f"motion to full effect: {duration(round(sensors.latency_s + settings.fade_up_s, 3))}."
    )
    yield (
        f"They stay there for {duration(row.delay_s)} after the last motion: {duration(sensors.hold_s)} hold "
        f"in the sensor, then {duration(settings.timeout_s)} timeout in the controller. Motion within that "
        "time starts both again."
    )
    fall = f"in {duration(settings.fade_down_s)}" if settings.fade_down_s else "at once"
    yield f"Then they go down to {level_words(row, low)}, {fall}."
    if settings.second_delay_s is not None and settings.second_level is not None:
        yield (
            f"After {duration(settings.second_delay_s)} more without motion they go down to "
            f"{level_words(row, settings.second_level)}, {fall}."
        )
    yield "Motion while they go down brings them up again from where they are."


def always_rules(scenario: Scenario) -> tuple[str, ...]:
    """Return what holds in every period."""
    return tuple(_rules(scenario))


def _rules(scenario: Scenario) -> Iterator[str]:
    """Borders, exceptions, luminaires that never dim, neighbours, sensors without sight, daylight."""
    yield (
        "At a border of the timetable the time since the last motion goes on counting and the new settings "
        "apply at once: the light is high if that time is within the new sum of hold and timeout, else low. "
        "The change takes the new settings' fade."
    )
    spans = week_spans(scenario.timetable)
    names = [scenario.timetable[row].settings for _, _, row in spans]
    borders = [start for place, (start, _, _) in enumerate(spans) if names[place] != names[place - 1]]
    if borders:
        clocks = [
            f"{WEEKDAYS[start // 86_400]} {start % 86_400 // 3600:02d}:{start % 3600 // 60:02d}"
            for start in borders
        ]
        yield f"Borders of the week: {', '.join(clocks)}."
    yield from _exceptions(scenario)
    fixed = [name for name in scenario.lit_names if scenario.luminaires_of(name).fixed_on]
    if fixed:
        counts = {scenario.luminaires_of(name).fixed_on for name in fixed}
        each = count_of(counts.pop(), "luminaire") if len(counts) == 1 else "some luminaires"
        where = f"{'each of ' * (len(fixed) > 1)}{listing(fixed, len(fixed))}"
        yield f"Always at full: {each} in {where}, counted from the back."
    else:
        yield "No luminaire is kept at full: all of them dim."
    if scenario.floor.lead_zones:
        yield (
            f"Motion in a zone counts also in {count_of(scenario.floor.lead_zones, 'zone')} on either side, "
            "along its aisle."
        )
    else:
        yield "Each zone listens to its own sensors alone; a neighbouring zone or aisle does not change it."
    yield "A zone whose sensors are all out of order stays high."
    if scenario.skylight is not None:
        where = listing(scenario.skylight.aisles) if scenario.skylight.aisles else "all aisles"
        yield f"Daylight in {where}: levels are capped by month and hour, as the scenario's [skylight] says."


def _exceptions(scenario: Scenario) -> Iterator[str]:
    """Dates on which the timetable does not hold."""
    if not scenario.exceptions:
        yield "No exception dates are stated."
    for row in scenario.exceptions or ():
        dates = ", ".join(date.isoformat() for date in row.dates)
        rule = f'"{row.settings}" all day' if row.settings else f"the hours of {row.as_day}"
        yield f"On {dates}: {rule}, midnight to midnight."
