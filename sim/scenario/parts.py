"""The valid parts of a scenario that may be faulty elsewhere, and its aisles by kind.

Comes in: the plain content of a file and the paths that have a fault of form.  Goes out: `Parts`, so that
one bad shift hides neither another shift nor a contradiction between sound tables.
Before: `scenario/faults`; after: `scenario/checks/contradictions`.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

from sim.scenario.positions import Key
from sim.scenario.schema import (
    Floor,
    Inbound,
    Lighting,
    Luminaires,
    Outbound,
    Override,
    Part,
    Recommend,
    Scenario,
    Sensors,
    Settings,
    Shift,
    TimetableRow,
    Trucks,
    Work,
)
from sim.scenario.tables.areas import AisleGroup, Area
from sim.scenario.tables.daylight import Skylight
from sim.scenario.tables.limits import Statements
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
from sim.scenario.tables.outside import Office, Place, Yard
from sim.scenario.tables.rebate import Rebate, Today
from sim.scenario.tables.week import DayException, YearWeeks
from sim.scenario.tables.wiring import Circuit

__all__ = ["AisleKind", "Parts", "aisles_text", "gather_parts", "sort_aisles"]

P = TypeVar("P", bound=Part)

_TABLES: Mapping[str, type[Part]] = {
    "recommend": Recommend,
    "statements": Statements,
    "tariff": Tariff,
    "demand_window": DemandWindow,
    "carbon": Carbon,
    "store": Store,
    "proposal": Proposal,
    "year": Year,
    "place": Place,
    "skylight": Skylight,
    "rebate": Rebate,
    "today": Today,
}
_LISTS: Mapping[str, type[Part]] = {
    "group": AisleGroup,
    "area": Area,
    "inbound": Inbound,
    "outbound": Outbound,
    "energy_prices": EnergyPrice,
    "energy_blocks": EnergyBlock,
    "demand_charges": DemandCharge,
    "site_load": SiteLoad,
    "yard": Yard,
    "offices": Office,
    "exceptions": DayException,
    "year_weeks": YearWeeks,
    "circuits": Circuit,
}
_VALUES = ("start", "days")


@dataclass(frozen=True)
class AisleKind:
    """Aisles that are alike in all that concerns lights.

    Attributes
    ----------
    aisles : their names
    length_m : their length [m]
    luminaires, sensors : resolved, overrides applied
    settings_names : the timetable's name for settings to the name that holds in these aisles
    overrides : positions of the overrides that apply, in order
    """

    aisles: tuple[str, ...]
    length_m: float
    luminaires: Luminaires
    sensors: Sensors
    settings_names: Mapping[str, str]
    overrides: tuple[int, ...]


@dataclass(frozen=True)
class Parts:
    """What is valid in itself; lists are given by their position in the file.

    Attributes
    ----------
    floor, luminaires, sensors : None where faulty
    settings : the valid ones by name
    settings_names, truck_names : all names in the file, also those of faulty tables; no truck names (None)
        where one of them is faulty itself
    timetable, trucks, shifts, work, override : the valid items by position
    tables : the valid tables that are optional in a file, by name
    lists : the valid items of lists that are optional in a file, by name and position
    values : start and days, where they are valid
    faulty : names of the sections with any fault of form
    faulty_overrides : the plain content of the overrides left out
    """

    floor: Floor | None
    luminaires: Luminaires | None
    sensors: Sensors | None
    settings: Mapping[str, Settings]
    settings_names: tuple[str, ...]
    truck_names: tuple[str, ...] | None
    timetable: Mapping[int, TimetableRow]
    trucks: Mapping[int, Trucks]
    shifts: Mapping[int, Shift]
    work: Mapping[int, Work]
    override: Mapping[int, Override]
    tables: Mapping[str, Part]
    lists: Mapping[str, Mapping[int, Part]]
    values: Mapping[str, Any]
    faulty: frozenset[str]
    faulty_overrides: tuple[Any, ...]

    @cached_property
    def aisle_names(self) -> tuple[str, ...] | None:
        """Names of the aisles, None where the floor is faulty."""
        return None if self.floor is None else Scenario.model_construct(floor=self.floor).aisle_names

    @cached_property
    def kinds(self) -> Sequence[AisleKind]:
        """The aisles whose tables are all known to be valid; none where that cannot be told."""
        floor, luminaires, sensors = self.floor, self.luminaires, self.sensors
        if floor is None or luminaires is None or sensors is None:
            return ()
        lengths = floor.aisle_length_m
        if isinstance(lengths, tuple) and len(lengths) != len(self.aisle_names or ()):
            return ()
        unsure: set[str] = set()
        for table in self.faulty_overrides:
            names = table.get("aisles") if isinstance(table, dict) else None
            if not isinstance(names, list):
                return ()
            unsure.update(name for name in names if isinstance(name, str))
        site = Scenario.model_construct(
            floor=floor,
            luminaires=luminaires,
            sensors=sensors,
            lighting=Lighting.model_construct(settings=dict(self.settings)),
            override=tuple(self.override.values()),
        )
        return sort_aisles(site, tuple(self.override), leave_out=unsure)


def sort_aisles(
    scenario: Scenario, positions: Sequence[int] | None = None, *, leave_out: Iterable[str] = ()
) -> list[AisleKind]:
    """Group the aisles of a scenario by length and overrides, in order of the first of each kind.

    Parameters
    ----------
    scenario : resolved; of an incomplete one, floor, luminaires, sensors, lighting and override count
    positions : where its overrides stand in the file; by default all are there
    leave_out : names of aisles that do not count
    """
    positions = range(len(scenario.override)) if positions is None else positions
    applied: dict[str, list[int]] = {name: [] for name in scenario.aisle_names}
    for order, override in enumerate(scenario.override):
        for name in dict.fromkeys(override.aisles):
            if name in applied:
                applied[name].append(order)
    skipped = frozenset(leave_out)
    groups: dict[tuple[float, tuple[int, ...]], list[str]] = {}
    for name, length in zip(scenario.aisle_names, scenario.aisle_lengths_m, strict=True):
        if name not in skipped:
            groups.setdefault((length, tuple(applied[name])), []).append(name)
    kinds = []
    for (length, orders), names in groups.items():
        settings_names = {name: name for name in scenario.lighting.settings}
        for order in orders:
            settings_names.update(scenario.override[order].settings or {})
        kinds.append(
            AisleKind(
                aisles=tuple(names),
                length_m=length,
                luminaires=scenario.luminaires_of(names[0]),
                sensors=scenario.sensors_of(names[0]),
                settings_names=settings_names,
                overrides=tuple(positions[order] for order in orders),
            )
        )
    return kinds


def aisles_text(names: Sequence[str]) -> str:
    """Name a few aisles and count the others.

    Examples
    --------
    >>> aisles_text(["A01"]), aisles_text(["A01", "A02", "A03", "A04"])
    ('aisle A01', 'aisles A01, A02 and 2 more')
    """
    if len(names) == 1:
        return f"aisle {names[0]}"
    if len(names) <= 3:
        return f"aisles {', '.join(names[:-1])} and {names[-1]}"
    return f"aisles {names[0]}, {names[1]} and {len(names) - 2} more"


def gather_parts(content: Mapping[str, Any], faulty: Iterable[Key]) -> Parts:
    """Build the models of all parts that have no fault of form.

    Parameters
    ----------
    content : plain TOML values
    faulty : paths at which a fault of form was found
    """
    paths = {path[:length] for path in faulty for length in range(1, len(path) + 1)}

    def table(name: str, model: type[P]) -> P | None:
        return None if (name,) in paths or name not in content else model.model_validate(content[name])

    def items(name: str, model: type[P]) -> dict[int, P]:
        listed = content.get(name, [])
        if not isinstance(listed, list):
            return {}
        return {
            position: model.model_validate(item)
            for position, item in enumerate(listed)
            if (name, position) not in paths
        }

    lighting = content.get("lighting")
    named = lighting.get("settings") if isinstance(lighting, dict) else None
    settings = named if isinstance(named, dict) else {}
    override = content.get("override", [])
    return Parts(
        floor=table("floor", Floor),
        luminaires=table("luminaires", Luminaires),
        sensors=table("sensors", Sensors),
        settings={
            name: Settings.model_validate(value)
            for name, value in settings.items()
            if ("lighting", "settings", name) not in paths
        },
        settings_names=tuple(settings),
        truck_names=_truck_names(content.get("trucks", []), paths),
        timetable=items("timetable", TimetableRow),
        trucks=items("trucks", Trucks),
        shifts=items("shifts", Shift),
        work=items("work", Work),
        override=items("override", Override),
        tables={name: found for name, model in _TABLES.items() if (found := table(name, model)) is not None},
        lists={name: items(name, model) for name, model in _LISTS.items()},
        values={name: content[name] for name in _VALUES if name in content and (name,) not in paths},
        faulty=frozenset(str(path[0]) for path in paths),
        faulty_overrides=tuple(
            item for position, item in enumerate(override) if ("override", position) in paths
        ) if isinstance(override, list) else (override,),
    )


def _truck_names(tables: Any, faulty: Container[Key]) -> tuple[str, ...] | None:
    """Return the names of all truck groups, None where one of them is not known."""
    if not isinstance(tables, list):
        return None
    names = []
    for position, table in enumerate(tables):
        is_named = isinstance(table, dict) and "name" in table and ("trucks", position, "name") not in faulty
        if not is_named:
            return None
        names.append(str(table["name"]))
    return tuple(names)
