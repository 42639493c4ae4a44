"""The lists of a handover: zones, sensors, circuits, and the settings to enter, with tags and blank columns.

Comes in: a scenario and its layout.  Goes out: `Sheet`s, for a page and for CSV.  Before: `floor/layout`,
`show/words/in_force`; after: `show/handover/sheets`.  Tags are made from the aisles' names: zone A07.2,
sensor A07-S1.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from sim.floor.layout import Layout, luminaire_positions
from sim.lighting.dali import LARGEST_LEVEL
from sim.lighting.power import power_curve
from sim.scenario.schema import Scenario
from sim.show.folders.whole import number_text
from sim.show.words.amounts import count_of, duration, listing, percent, plain
from sim.show.words.in_force import InForce, settings_in_force

__all__ = ["Sheet", "circuit_sheet", "sensor_sheet", "settings_sheet", "zone_sheet"]

_FEEDS = {"all": "all luminaires", "dimmed": "those that dim", "fixed": "those that never dim"}
_NEW_TAG = "not stated"


@dataclass(frozen=True)
class Sheet:
    """One list of a handover.

    Attributes
    ----------
    name : of the CSV file, without its ending
    title : of the sheet
    header, rows : for the page
    csv_header, csv_rows : for the file, numbers with their unit in the name
    blanks : columns to fill in by hand, on the page and in the file
    remarks : sentences below the list
    """

    name: str
    title: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    csv_header: tuple[str, ...]
    csv_rows: tuple[tuple[str, ...], ...]
    blanks: tuple[str, ...]
    remarks: tuple[str, ...] = ()


def _watts(layout: Layout, zone: int) -> float:
    """Power of a zone's luminaires at full [W]."""
    count = int(layout.dimmed[zone] + layout.fixed[zone])
    return count * power_curve(layout.place_luminaires[int(layout.zone_place[zone])]).full_w


def _circuits_of(scenario: Scenario, homes: Sequence[str]) -> str:
    """Tags of the circuits that feed some aisles."""
    return " ".join(row.tag for row in scenario.circuits or () if set(homes) & set(row.aisles))


def zone_sheet(scenario: Scenario, layout: Layout) -> Sheet:
    """Return the zone list."""
    rows, csv_rows = [], []
    for zone, name in enumerate(layout.zones):
        homes = scenario.places[int(layout.zone_place[zone])][1]
        aisle, area = " ".join(homes), zone - layout.zones_in_aisles
        sensors = int((layout.sensor_zone == zone).sum())
        if area >= 0:
            aisle, sensors = "open area", len(layout.areas[area].dead_sensor)
        start, end = float(layout.zone_from_m[zone]), float(layout.zone_to_m[zone])
        dim, fixed, watts = int(layout.dimmed[zone]), int(layout.fixed[zone]), _watts(layout, zone)
        circuits = _circuits_of(scenario, homes)
        stretch = f"{plain(round(start, 2))} to {plain(round(end, 2))} m" if area < 0 else "whole"
        rows.append(
            (name, aisle, stretch, str(dim), str(fixed), f"{plain(watts)} W", str(sensors), circuits)
        )
        csv_rows.append((
            name, aisle, number_text(start), number_text(end), str(dim), str(fixed), number_text(watts),
            str(sensors), circuits,
        ))
    remarks = [
        "Stretches are counted from the front mouth. A luminaire on a cut belongs to the farther zone. "
        "Luminaires that never dim are counted from the back.",
    ]
    lead = scenario.floor.lead_zones
    if lead:
        remarks.append(f"Motion in a zone counts also in {count_of(lead, 'zone')} on either side.")
    return Sheet(
        name="zones",
        title="Zone list",
        header=("Zone", "Aisle", "Stretch", "Dim", "Never dim", "At full", "Sensors", "Circuits"),
        rows=tuple(rows),
        csv_header=(
            "zone", "aisle", "from_m", "to_m", "luminaires_dim", "luminaires_fixed", "full_w", "sensors",
            "circuits",
        ),
        csv_rows=tuple(csv_rows),
        blanks=("Group or address", "As left", "Initials"),
        remarks=tuple(remarks),
    )


def sensor_sheet(layout: Layout) -> Sheet:
    """Return the sensor list; sensors are numbered from the front mouth of their aisle."""
    rows, csv_rows = [], []
    number_in = np.zeros(len(layout.aisles), dtype=np.int64)
    for sensor, at_m in enumerate(layout.sensor_m.tolist()):
        aisle = int(layout.sensor_aisle[sensor])
        number_in[aisle] += 1
        table, name = layout.sensors[aisle], layout.aisles[aisle]
        tag, zone = f"{name}-S{number_in[aisle]}", layout.zones[int(layout.sensor_zone[sensor])]
        places = luminaire_positions(layout.luminaires[aisle].per_aisle, float(layout.length_m[aisle]))
        nearest = int(np.argmin(np.abs(places - at_m))) + 1
        mouths = [
            mouth for mouth, ends in (("front", layout.front_sensor), ("back", layout.back_sensor))
            if int(ends[aisle]) == sensor
        ]
        looks = " and ".join(mouths) or "inside"
        place = f"{plain(round(at_m, 2))} m"
        rows.append((
            tag, zone, place, str(nearest), looks, f"{plain(table.range_m)} m", duration(table.hold_s),
        ))
        csv_rows.append((
            tag, zone, number_text(at_m), str(nearest), looks, number_text(table.range_m),
            number_text(table.approach_m), number_text(table.hold_s), number_text(table.latency_s),
        ))
    for number, area in enumerate(layout.areas):
        keys = layout.place_sensors[len(layout.places) - len(layout.areas) + number]
        for sensor, (across_m, along_m) in enumerate(
            zip(area.sensor_across_m.tolist(), area.sensor_along_m.tolist(), strict=True)
        ):
            tag = f"{area.name}-S{sensor + 1}"
            place = f"{plain(round(across_m, 2))} / {plain(round(along_m, 2))} m"
            rows.append((
                tag, area.name, place, "", "area", f"{plain(area.radius_m)} m", duration(keys.hold_s),
            ))
            csv_rows.append((
                tag, area.name, number_text(along_m), "", "area", number_text(area.radius_m), "",
                number_text(keys.hold_s), number_text(keys.latency_s),
            ))
    remarks = [
        "At: in open areas across / along the floor, along from the line of the front mouths, negative "
        "towards the docks; in aisles from the front mouth, with the nearest luminaire counted from there. "
        "Looks out: an end "
        "sensor also watches its mouth.",
        "Hold is set in the sensor itself; the controller's timeout comes after it. Read both back.",
    ]
    if layout.dead_sensor is not None:
        remarks.append(
            "The scenario names sensors that see nothing; they are listed like the others: mend them first."
        )
    return Sheet(
        name="sensors",
        title="Sensor list",
        header=("Sensor", "Serves zone", "At", "Luminaire", "Looks out", "Reach", "Hold to set"),
        rows=tuple(rows),
        csv_header=(
            "sensor", "zone", "at_m", "luminaire", "looks_out", "range_m", "approach_m", "hold_s",
            "latency_s",
        ),
        csv_rows=tuple(csv_rows),
        blanks=("Address", "Hold as left", "Initials"),
        remarks=tuple(remarks),
    )


def circuit_sheet(scenario: Scenario) -> Sheet:
    """Return the circuit list; without stated circuits a row for each aisle and area, to be filled in."""
    stated = [(row.tag, row.aisles, row.feeds) for row in scenario.circuits or ()]
    named = {name for _, aisles, _ in stated for name in aisles}
    unfed = tuple(name for name in scenario.lit_names if name not in named)
    found = stated or [(_NEW_TAG, (name,), "all") for name in scenario.lit_names]
    if stated and unfed:
        found.append((_NEW_TAG, unfed, "all"))
    rows, csv_rows = [], []
    for tag, aisles, feeds in found:
        count, watts = 0, 0.0
        for name in aisles:
            lamps = scenario.luminaires_of(name)
            fixed = lamps.fixed_on
            lit = {"all": lamps.per_aisle, "fixed": fixed, "dimmed": lamps.per_aisle - fixed}[feeds]
            count += lit
            watts += lit * power_curve(lamps).full_w
        rows.append((tag, listing(aisles, len(aisles)), _FEEDS[feeds], str(count), f"{plain(watts)} W"))
        csv_rows.append((tag, " ".join(aisles), feeds, str(count), number_text(watts)))
    remarks = ["Power is that of the luminaires at full level."]
    if not stated:
        remarks.append(
            "The scenario states no circuits: write the tags in by hand, or state them in [[circuits]] "
            "(tag, aisles, feeds)."
        )
    return Sheet(
        name="circuits",
        title="Circuit list",
        header=("Circuit", "Aisles and areas", "Feeds", "Luminaires", "At full"),
        rows=tuple(rows),
        csv_header=("circuit", "aisles", "feeds", "luminaires", "full_w"),
        csv_rows=tuple(csv_rows),
        blanks=("Panel and way", "As left", "Initials"),
        remarks=tuple(remarks),
    )


def settings_sheet(scenario: Scenario, layout: Layout) -> Sheet:
    """Return the settings to enter, by period and aisles on the page, by period and zone in the file."""
    in_force = settings_in_force(scenario)
    rows = []
    for row in in_force:
        settings = row.settings
        second = ""
        if settings.second_delay_s is not None and settings.second_level is not None:
            second = f"{percent(settings.second_level)} after {duration(settings.second_delay_s)}"
        rows.append((
            row.name, "all" if row.is_everywhere else listing(row.aisles, len(row.aisles)),
            duration(row.sensors.hold_s),
            duration(settings.timeout_s), duration(row.delay_s), percent(settings.occupied_level),
            percent(settings.unoccupied_level), second,
            f"{duration(settings.fade_up_s)} / {duration(settings.fade_down_s)}",
        ))
    return Sheet(
        name="settings",
        title="Settings to enter, and as left",
        header=(
            "Period", "Aisles", "Hold", "Timeout", "Sum", "High", "Low", "Second level", "Fade up / down",
        ),
        rows=tuple(rows),
        csv_header=(
            "zone", "period", "hold_s", "timeout_s", "sum_s", "occupied_level", "unoccupied_level",
            "second_delay_s", "second_level", "fade_up_s", "fade_down_s",
        ),
        csv_rows=tuple(_zone_settings(in_force, scenario, layout)),
        blanks=("Timeout as left", "Low as left", "Initials"),
        remarks=(
            "Two timers run one after the other: hold in the sensor, then timeout in the controller. The sum "
            "is what a driver meets. Read both back from every zone; the list by zone is settings.csv.",
            _what_levels_are(scenario),
        ),
    )


def _what_levels_are(scenario: Scenario) -> str:
    """Whether the levels are light or commands."""
    curves = {scenario.luminaires_of(name).power_curve == "iec62386-log" for name in scenario.lit_names}
    if curves == {False}:
        return "Levels are shares of full light, not of power."
    return (
        f"Levels are commands, as shares of {LARGEST_LEVEL}, not light: the sequence of operations says what "
        "light each gives." + ("" if curves == {True} else " In some aisles they are shares of full light.")
    )


def _zone_settings(
    in_force: tuple[InForce, ...], scenario: Scenario, layout: Layout
) -> Iterator[tuple[str, ...]]:
    """What to enter for each zone and period."""
    for row in in_force:
        settings = row.settings
        for zone, place in zip(layout.zones, layout.zone_place.tolist(), strict=True):
            if scenario.places[place][1][0] in row.aisles:
                numbers = (
                    row.sensors.hold_s, settings.timeout_s, row.delay_s, settings.occupied_level,
                    settings.unoccupied_level, settings.second_delay_s, settings.second_level,
                    settings.fade_up_s, settings.fade_down_s,
                )
                yield (zone, row.name, *("" if one is None else number_text(one) for one in numbers))
