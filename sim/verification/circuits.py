"""Which control zones hang on which circuit of a meter.

Comes in: a layout, the scenario's circuits, names of columns, statements such as C1 = A01, A02.  Goes out:
`Circuit`s.  Before: `floor/layout`; after: `verification/predict`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from sim.errors import InputError
from sim.floor.layout import Layout
from sim.lighting.power import power_curve
from sim.scenario.tables.wiring import Circuit as Wiring
from sim.wording import nearest_text, printable

__all__ = ["SITE_NAMES", "Circuit", "map_circuits", "whole_of"]

SITE_NAMES = ("site", "all", "total")
"""Columns of these names are of the whole site."""


@dataclass(frozen=True)
class Circuit:
    """One column of a meter on the floor.

    Attributes
    ----------
    name : of the column
    zones : indices of its control zones
    feeds : all luminaires of these zones, those that dim, or those that never do
    connected_kw : its luminaires at full level
    """

    name: str
    zones: tuple[int, ...]
    feeds: Literal["all", "dimmed", "fixed"]
    connected_kw: float

    @property
    def parts(self) -> frozenset[tuple[int, str]]:
        """Return zones with the kind of their luminaires, so that two circuits can be told apart."""
        kinds = ("dimmed", "fixed") if self.feeds == "all" else (self.feeds,)
        return frozenset((zone, kind) for zone in self.zones for kind in kinds)


def map_circuits(
    layout: Layout,
    columns: Sequence[str],
    stated: Mapping[str, Sequence[str]],
    wiring: Sequence[Wiring] = (),
) -> tuple[Circuit, ...]:
    """Return a circuit for each column.

    Parameters
    ----------
    layout : the site
    columns : names, in the order of the meter's file
    stated : zones or aisles by the name of their circuit
    wiring : the scenario's circuits

    Raises
    ------
    InputError : a column whose zones nobody named, or a zone that does not exist

    Notes
    -----
    A column is looked up among the stated circuits, the scenario's circuits, the names of the whole site, of
    zones and of aisles; the only column of a file is else the whole site, whatever it is called.
    """
    places: dict[str, tuple[int, ...]] = {}
    for number, aisle in enumerate(layout.aisles):
        places[aisle] = tuple(layout.zones_of(number))
    for number, place in enumerate(layout.places):
        places.setdefault(place, tuple(layout.zones_of_place(number)))
    for number, zone in enumerate(layout.zones):
        places.setdefault(zone, (number,))
    for circuit, names in stated.items():
        for name in names:
            if name not in places:
                raise InputError(
                    f"--circuit {printable(circuit)}: there is no zone or aisle {printable(name)}"
                    f"{nearest_text(name, places)}"
                )
        if circuit not in columns:
            raise InputError(
                f"--circuit {printable(circuit)}: the meter has no such column"
                f"{nearest_text(circuit, columns)}"
            )
    everything = tuple(range(len(layout.zones)))
    wired = {one.tag: one for one in wiring}
    found = []
    for column in columns:
        feeds: Literal["all", "dimmed", "fixed"] = "all"
        if column in stated:
            zones = tuple(sorted({zone for name in stated[column] for zone in places[name]}))
        elif column in wired:
            zones = tuple(sorted({zone for name in wired[column].aisles for zone in places[name]}))
            feeds = wired[column].feeds
        elif column.casefold() in SITE_NAMES:
            zones = everything
        elif column in places:
            zones = places[column]
        elif len(columns) == 1:
            zones = everything
        else:
            raise InputError(
                f"column {printable(column)}: no circuit, zone or aisle of this name"
                f"{nearest_text(column, [*wired, *places, 'site'])}; say --circuit "
                f'"{printable(column)}=A01,A02" with its zones or aisles, or call it site'
            )
        found.append(Circuit(column, zones, feeds, _connected_kw(layout, zones, feeds)))
    return tuple(found)


def whole_of(circuits: Sequence[Circuit], zones: int) -> tuple[int, ...]:
    """Return which circuits add up to the most that is metered without counting a zone twice.

    Parameters
    ----------
    circuits : of one kind
    zones : number of zones of the site

    Returns
    -------
    their positions: the one that holds every zone, or all where none overlap, or () where that cannot be told
    """
    for place, circuit in enumerate(circuits):
        if len(circuit.parts) == 2 * zones:
            return (place,)
    every = [part for circuit in circuits for part in circuit.parts]
    return tuple(range(len(circuits))) if len(every) == len(set(every)) else ()


def _connected_kw(layout: Layout, zones: Sequence[int], feeds: str) -> float:
    """The luminaires of some zones at full level."""
    watts = [
        float((feeds != "fixed") * layout.dimmed[zone] + (feeds != "dimmed") * layout.fixed[zone])
        * power_curve(layout.place_luminaires[layout.zone_place[zone]]).full_w
        for zone in zones
    ]
    return sum(watts) / 1000.0
