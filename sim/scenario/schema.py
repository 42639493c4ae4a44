"""What a user may say about a site: every key with its unit, range, default and meaning.

Comes in: plain dictionaries read from a scenario file.  Goes out: frozen models with every default
filled in.  Before this room: nothing; after it: `scenario/toml` (files), then `floor`.
Nothing hidden: a key that is absent adds nothing (no misses, no pulses, no second delay).
What one model cannot see (names, coverage of the week) is checked in `scenario/checks/contradictions`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, field_validator

from sim.scenario.holiday_dates import why_no_holidays
from sim.scenario.tables.areas import LAMP_KEYS, SENSOR_KEYS, Area, Areas, Groups
from sim.scenario.tables.base import (
    CLOCK_PATTERN,
    COUNTRY_PATTERN,
    FIRST_YEAR,
    LAST_YEAR,
    LOCAL_TIME_PATTERN,
    NAME_PATTERN,
    TITLE_PATTERN,
    Amount,
    Curve,
    Dates,
    Frozen,
    Level,
    LocalTime,
    Metres,
    Name,
    Names,
    Part,
    Positive,
    Share,
    Spread,
    StillRate,
    Title,
    quantity,
    seconds_of_day,
)
from sim.scenario.tables.daylight import Skylight
from sim.scenario.tables.floor import Floor
from sim.scenario.tables.light import Luminaires, PowerPreset, lumen_method_lux
from sim.scenario.tables.limits import RuleNames, Statements
from sim.scenario.tables.money import (
    Carbon,
    DemandCharge,
    DemandWindow,
    EnergyBlock,
    EnergyPrice,
    Proposal,
    SiteLoad,
    Store,
    Tariff,
    Year,
)
from sim.scenario.tables.outside import KnownZone, Office, Place, Yard
from sim.scenario.tables.rebate import Rebate, Today
from sim.scenario.tables.recommend import Recommend
from sim.scenario.tables.sensors import DeadSensors, HalfAngle, Sensors, with_reach
from sim.scenario.tables.settings import Lighting, Settings, TimetableRow
from sim.scenario.tables.traffic import Inbound, Outbound, Shift, Trucks, Work
from sim.scenario.tables.week import DayException, YearWeeks
from sim.scenario.tables.wiring import Circuit

__all__ = [
    "CLOCK_PATTERN",
    "COUNTRY_PATTERN",
    "FIRST_YEAR",
    "LAST_YEAR",
    "LOCAL_TIME_PATTERN",
    "NAME_PATTERN",
    "TITLE_PATTERN",
    "Floor",
    "Inbound",
    "Lighting",
    "Luminaires",
    "Outbound",
    "Override",
    "Part",
    "Recommend",
    "Scenario",
    "Sensors",
    "Settings",
    "Shift",
    "TimetableRow",
    "Trucks",
    "Work",
    "seconds_of_day",
]


class Override(Part):
    """What differs in some aisles: any key of luminaires or sensors, settings by name."""

    aisles: Names = quantity("names of the aisles")
    per_aisle: int | None = quantity("as in luminaires", "luminaires", None, ge=1, le=5000)
    full_w: Positive | None = quantity("as in luminaires", "W", None)
    standby_w: Amount | None = quantity("as in luminaires", "W", None)
    power_curve: Curve | PowerPreset | None = quantity("as in luminaires", "-, W", None)
    driver_min_level: Level | None = quantity("as in luminaires", "-", None)
    relay_off: bool | None = quantity("as in luminaires", "-", None)
    fixed_on: int | None = quantity("as in luminaires", "luminaires", None, ge=0, le=5000)
    floor_lux_at_full: Positive | None = quantity("as in luminaires", "lx", None)
    lumens: Positive | None = quantity("as in luminaires", "lm", None)
    utilisation: Share | None = quantity("as in luminaires", "-", None)
    light_loss: Share | None = quantity("as in luminaires", "-", None)
    floor_uniformity: Share | None = quantity("as in luminaires", "-", None)
    rack_lux_at_full: Positive | None = quantity("as in luminaires", "lx", None)
    rack_uniformity: Share | None = quantity("as in luminaires", "-", None)
    at: Literal["ends", "every"] | Metres | None = quantity("as in sensors", "m", None)
    range_m: Positive | None = quantity("as in sensors", "m", None)
    half_angle_deg: HalfAngle | None = quantity("as in sensors", "degrees", None)
    mounting_height_m: Positive | None = quantity("as in sensors", "m", None)
    approach_m: Amount | None = quantity("as in sensors", "m", None)
    passing_trigger: Share | None = quantity("as in sensors", "-", None)
    passing_range_m: Amount | None = quantity("as in sensors", "m", None)
    still_rate_per_min: StillRate | None = quantity("as in sensors", "1/min", None)
    still_rate_person_per_min: StillRate | None = quantity("as in sensors", "1/min", None)
    miss: Share | None = quantity("as in sensors", "-", None)
    dead_share: Share | None = quantity("as in sensors", "-", None)
    latency_s: Amount | None = quantity("as in sensors", "s", None)
    hold_s: Amount | None = quantity("as in sensors", "s", None)
    dead_sensors: DeadSensors | None = quantity(
        'sensors that see nothing: "all", or their numbers in the aisle, 1 nearest to the front mouth',
        "-",
        None,
    )
    settings: dict[Name, Name] | None = quantity(
        "timetable's settings name to the name used in these aisles", "-", None
    )

    _check_curve = field_validator("power_curve")(Luminaires._check_curve.__func__)  # type: ignore[attr-defined]


class Scenario(Part):
    """A site, its traffic and its lights: the whole file, every default filled in."""

    format: int = quantity("version of this format", "-", ge=1, le=1)
    title: Title = quantity("what the reader of a report should call the site", "-", "untitled site")
    start: LocalTime = quantity("local date or date-time of second 0; its weekday matters")
    timezone: KnownZone | None = quantity("time zone of the clock, for logs; absent: [place]'s", "-", None)
    days: Annotated[float, Field(gt=0.0, le=3700.0)] = quantity("length of the run", "d")
    seed: int = quantity("seed of all random streams; 0 is a seed", "-", 0, ge=0, le=2**63 - 1)
    replications: int = quantity("independent repetitions of the run", "-", 10, ge=1, le=100_000)
    precision: Annotated[float, Field(gt=0.0, lt=1.0)] | None = quantity(
        "go on until the 95 % interval of the energy is this narrow: half-width over mean", "-", None
    )
    floor: Floor = quantity("the floor")
    group: Groups | None = quantity("aisles that share one zone", "-", None)
    area: Areas | None = quantity("open areas outside the aisles", "-", None)
    luminaires: Luminaires = quantity("the luminaires of an aisle")
    sensors: Sensors = quantity("the sensors of an aisle")
    lighting: Lighting = quantity("the controller's settings")
    timetable: Annotated[tuple[TimetableRow, ...], Field(min_length=1), Frozen] = quantity(
        "the week: every hour covered once"
    )
    trucks: Annotated[tuple[Trucks, ...], Frozen] = quantity("truck groups", "-", ())
    shifts: Annotated[tuple[Shift, ...], Frozen] = quantity("who works when", "-", ())
    work: Annotated[tuple[Work, ...], Frozen] = quantity("the streams of moves", "-", ())
    inbound: Annotated[tuple[Inbound, ...], Frozen] = quantity("trailers that bring pallets", "-", ())
    outbound: Annotated[tuple[Outbound, ...], Frozen] = quantity("trailers that take pallets away", "-", ())
    volume_cv: Spread = quantity(
        "standard deviation over mean of a day's volume of work, one factor for all streams, gamma family",
        "-",
        0.0,
    )
    holidays: Dates = quantity("dates without shifts and without work", "d", ())
    holidays_country: Annotated[str, StringConstraints(pattern=COUNTRY_PATTERN)] | None = quantity(
        "ISO 3166-1 code of a country whose public holidays are such dates too; needs the holidays library",
        "-",
        None,
    )
    override: Annotated[tuple[Override, ...], Frozen] = quantity("what differs in some aisles", "-", ())
    recommend: Recommend | None = quantity("what a recommendation must keep to", "-", None)
    limits: RuleNames | None = quantity(
        "rule sets whose numeric limits the site is set beside; their names are the choices", "-", None
    )
    statements: Statements | None = quantity("what rules ask about and only the site can say", "-", None)
    year: Year | None = quantity("the year that bills speak of", "-", None)
    tariff: Tariff | None = quantity("what electricity costs", "-", None)
    energy_prices: Annotated[tuple[EnergyPrice, ...], Frozen] | None = quantity(
        "prices of energy in some hours", "-", None
    )
    energy_blocks: Annotated[tuple[EnergyBlock, ...], Frozen] | None = quantity(
        "prices by how much a month uses", "-", None
    )
    demand_charges: Annotated[tuple[DemandCharge, ...], Frozen] | None = quantity(
        "charges on the site meter's demand", "-", None
    )
    site_load: Annotated[tuple[SiteLoad, ...], Frozen] | None = quantity(
        "what else runs behind the meter", "-", None
    )
    demand_window: DemandWindow | None = quantity("a utility's window", "-", None)
    store: Store | None = quantity("what the heat of the lights does", "-", None)
    carbon: Carbon | None = quantity("what a kilowatt-hour emits", "-", None)
    proposal: Proposal | None = quantity("what the controls cost", "-", None)
    exceptions: Annotated[tuple[DayException, ...], Frozen] | None = quantity(
        "dates on which the timetable does not hold", "-", None
    )
    year_weeks: Annotated[tuple[YearWeeks, ...], Frozen] | None = quantity(
        "parts of the year unlike the run", "-", None
    )
    skylight: Skylight | None = quantity("daylight from above", "-", None)
    place: Place | None = quantity("where the site lies", "-", None)
    yard: Annotated[tuple[Yard, ...], Frozen] | None = quantity("lights outside, by the sun", "-", None)
    offices: Annotated[tuple[Office, ...], Frozen] | None = quantity("lights with fixed hours", "-", None)
    circuits: Annotated[tuple[Circuit, ...], Frozen] | None = quantity("which circuit feeds what", "-", None)
    rebate: Rebate | None = quantity("a programme's agreed numbers", "-", None)
    today: Today | None = quantity("the lights before the proposal", "-", None)

    @field_validator("start")
    @classmethod
    def _check_start(cls, start: dt.datetime | dt.date) -> dt.datetime | dt.date:
        if isinstance(start, dt.datetime) and start.tzinfo is not None:
            raise ValueError("has a time zone; write the local time without offset or Z")
        if not FIRST_YEAR <= start.year <= LAST_YEAR:
            raise ValueError(f"the year must lie from {FIRST_YEAR} to {LAST_YEAR}")
        return start

    @field_validator("holidays_country")
    @classmethod
    def _check_country(cls, country: str | None) -> str | None:
        why = None if country is None else why_no_holidays(country)
        if why is not None:
            raise ValueError(why)
        return country

    @property
    def start_datetime(self) -> dt.datetime:
        """Second 0 of the run as local wall time."""
        if isinstance(self.start, dt.datetime):
            return self.start
        return dt.datetime.combine(self.start, dt.time())

    @property
    def duration_s(self) -> float:
        """Length of the run [s]; every day has 86,400 s."""
        return self.days * 86_400.0

    @property
    def pitches_m(self) -> tuple[float, ...]:
        """Width of each aisle with its half racks [m]."""
        pitch = self.floor.aisle_pitch_m
        return (pitch,) * len(self.aisle_names) if isinstance(pitch, float | int) else pitch

    @property
    def aisle_names(self) -> tuple[str, ...]:
        """Names of the aisles, from the dock corner."""
        if isinstance(self.floor.aisles, int):
            return tuple(f"A{number:02d}" for number in range(1, self.floor.aisles + 1))
        return self.floor.aisles

    @property
    def aisle_lengths_m(self) -> tuple[float, ...]:
        """Length of each aisle [m]."""
        length = self.floor.aisle_length_m
        return (length,) * len(self.aisle_names) if isinstance(length, float | int) else length

    @property
    def places(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """What the lights' programs belong to, by name, with the aisles in each, in order of the aisles.

        A group of aisles is one place, and every other aisle; then every open area, which stands for itself.
        """
        home = {aisle: group for group in self.group or () for aisle in group.aisles}
        found: dict[str, tuple[str, ...]] = {}
        for aisle in self.aisle_names:
            name = home[aisle].name if aisle in home else aisle
            found[name] = (*found.get(name, ()), aisle)
        return (*found.items(), *((name, (name,)) for name in self.area_names))

    @property
    def area_names(self) -> tuple[str, ...]:
        """Names of the open areas."""
        return tuple(area.name for area in self.area or ())

    @property
    def lit_names(self) -> tuple[str, ...]:
        """Names of all that has luminaires: aisles, then open areas."""
        return (*self.aisle_names, *self.area_names)

    def area_named(self, name: str) -> Area | None:
        """Return an open area, None where a name is not that of one."""
        return next((area for area in self.area or () if area.name == name), None)

    @property
    def names_in_force(self) -> tuple[str, ...]:
        """Names of settings that hold at some time: in the week, on exception dates, in special weeks."""
        named = [row.settings for rows in (self.exceptions, self.year_weeks) for row in rows or ()]
        week = [row.settings for row in self.timetable]
        return tuple(dict.fromkeys([*week, *(name for name in named if name is not None)]))

    def luminaires_of(self, aisle: str) -> Luminaires:
        """Return the luminaires of one aisle, overrides applied, or of an open area.

        Where the floor's light is not stated and lumens are, it is filled in by the lumen method.
        """
        area = self.area_named(aisle)
        if area is not None:
            kept = self.luminaires.model_dump(include=set(LAMP_KEYS))
            if isinstance(kept["power_curve"], tuple) and area.stated(("full_w", "standby_w")):
                kept["power_curve"] = None  # watts of its own: the table is another luminaire's
            light = area.stated(("floor_lux_at_full", "floor_uniformity"))
            counts = {"per_aisle": area.luminaires, "fixed_on": area.fixed_on}
            return Luminaires.model_construct(**(kept | area.stated(LAMP_KEYS) | light | counts))
        lamps = self.luminaires.model_copy(update=self._overridden(aisle, Luminaires.model_fields))
        if lamps.floor_lux_at_full is not None:
            return lamps
        lux = lumen_method_lux(lamps, self.area_m2_of(aisle))
        return lamps if lux is None else lamps.model_copy(update={"floor_lux_at_full": lux})

    def area_m2_of(self, aisle: str) -> float:
        """Return the size of one aisle with its half of the racks on either side, or of an open area [m2]."""
        area = self.area_named(aisle)
        if area is not None:
            return area.size_m2
        number = self.aisle_names.index(aisle)
        return self.aisle_lengths_m[number] * self.pitches_m[number]

    def sensors_of(self, aisle: str) -> Sensors:
        """Return the sensors of one aisle, overrides applied, or of an open area."""
        area = self.area_named(aisle)
        if area is not None:
            kept = self.sensors.model_dump(include=set(SENSOR_KEYS))
            return Sensors.model_construct(
                **(kept | area.stated(SENSOR_KEYS) | {"at": "every", "range_m": area.radius_m})
            )
        stated = self._overridden(aisle, Sensors.model_fields)
        return self.sensors.model_copy(update=with_reach(stated, self.sensors.model_dump()))

    def dead_sensors_of(self, aisle: str, count: int) -> tuple[int, ...]:
        """Return the numbers of the sensors of one aisle that are named dead, of so many, from 1."""
        every = tuple(range(1, count + 1))
        named = [one.dead_sensors for one in self.override if aisle in one.aisles and one.dead_sensors]
        return every if "all" in named else tuple(k for k in every if any(k in some for some in named))

    def settings_of(self, aisle: str) -> Mapping[str, Settings]:
        """Return the settings that each timetable name stands for in one aisle or open area."""
        chosen = dict(self.lighting.settings)
        area = self.area_named(aisle)
        if area is not None and area.settings:
            chosen.update({name: self.lighting.settings[other] for name, other in area.settings.items()})
        for override in self.override:
            if aisle in override.aisles and override.settings:
                chosen.update(
                    {name: self.lighting.settings[other] for name, other in override.settings.items()}
                )
        return chosen

    def _overridden(self, aisle: str, fields: Mapping[str, Any]) -> dict[str, Any]:
        """Keys stated for this aisle that belong to one table."""
        return {
            key: getattr(override, key)
            for override in self.override
            if aisle in override.aisles
            for key in override.model_fields_set
            if key in fields and getattr(override, key) is not None
        }

    def content(self) -> dict[str, Any]:
        """Return the resolved scenario as plain TOML values, keys as a user writes them."""
        return _plain(self.model_dump(by_alias=True, exclude_none=True))  # type: ignore[no-any-return]


def _plain(value: Any) -> Any:
    """Turn tuples into lists, all the way down."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value
