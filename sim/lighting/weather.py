"""Typical years of weather: light outdoors by hour, from stations that pvlib packages or from a file.

Comes in: a station's name or a file (EPW, TMY3, TMY2).  Goes out: lux on the horizontal (8760,).  Before:
nothing; after: `lighting/daylight`, `commands/site`.  The only file that knows the optional `pvlib` library,
imported inside functions; it reads files through it.

References
----------
National Solar Radiation Data Base, typical meteorological years: TMY3 of 723170 (Greensboro, North Carolina)
and 703165 (Sand Point, Alaska), TMY2 of 12839 (Miami, Florida), as packaged with pvlib (BSD-3).
EnergyPlus weather format (EPW): hours count from 1 and are named by their end; 999999 lx is missing.
Two of the three packaged files hold hundreds of lux and one holds lux, so the unit is found by the luminous
efficacy of daylight, about 105 lm/W (from memory): the other unit would be wrong a hundredfold.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from sim.errors import InputError
from sim.records import FloatColumn
from sim.wording import printable

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["HOURS_A_YEAR", "STATIONS", "outdoor_lux", "read_weather", "why_no_weather"]

HOURS_A_YEAR = 8760
STATIONS: Mapping[str, str] = {
    "pvlib-723170TYA": "723170TYA.CSV",
    "pvlib-703165TY": "703165TY.csv",
    "pvlib-12839": "12839.tm2",
}
"""Name in a scenario and file of each packaged year."""
_ENDINGS = (".epw", ".csv", ".tm2")
_LARGEST_BYTES = 50_000_000
_LEAST_LM_PER_W, _MOST_LM_PER_W = 80.0, 140.0
_MISSING_LUX = 999_900.0


@dataclass(frozen=True)
class _Columns:
    """Where light and radiation stand in a file."""

    lux: str
    w_per_m2: str


_COLUMNS: Mapping[str, _Columns] = {
    ".epw": _Columns("global_hor_illum", "ghi"),
    ".csv": _Columns("GH illum (lx)", "GHI (W/m^2)"),
    ".tm2": _Columns("GHillum", "GHI"),
}


def why_no_weather() -> str | None:
    """Return why no weather can be read, None where it can."""
    try:
        import pvlib  # noqa: F401
    except ImportError:
        return 'needs the library "pvlib": pip install "aislewake[weather]", or write caps'
    return None


def outdoor_lux(station: str) -> FloatColumn:
    """Return the light outdoors of a packaged year, hour by hour from 1 January, 00:00 to 01:00 [lx] (8760,).

    Parameters
    ----------
    station : a name in `STATIONS`
    """
    import pvlib

    return read_weather(Path(pvlib.__file__).parent / "data" / STATIONS[station])


def read_weather(path: Path, lumens_per_watt: float | None = None) -> FloatColumn:
    """Return the light outdoors of a file, hour by hour from 1 January, 00:00 to 01:00 [lx] (8760,).

    Parameters
    ----------
    path : EPW, or TMY3 (.csv) or TMY2 (.tm2) of the National Solar Radiation Data Base
    lumens_per_watt : makes light of radiation where the file has no light [lm/W]; None: refuse such a file

    Raises
    ------
    InputError : pvlib is not there, or the file cannot be read, is not a whole year, or holds no light
    """
    where, ending = str(path), path.suffix.lower()
    if (why := why_no_weather()) is not None:
        raise InputError(f"{where}: {why}")
    if ending not in _ENDINGS:
        raise InputError(f"{where}: the name must end in {', '.join(_ENDINGS)}: EPW, TMY3 or TMY2")
    table = _read_table(path, ending)
    names = _COLUMNS[ending]
    absent = [name for name in (names.lux, names.w_per_m2) if name not in table]
    if absent:
        raise InputError(f"{where}: has no column {absent[0]}; it is not a typical year of weather")
    if len(table) != HOURS_A_YEAR:
        raise InputError(f"{where}: has {len(table)} hours; a typical year has {HOURS_A_YEAR}")
    lux, radiation = (_numbers(table, name, where) for name in (names.lux, names.w_per_m2))
    if (lux >= _MISSING_LUX).any() or not lux.any():
        if lumens_per_watt is None:
            raise InputError(
                f"{where}: holds no light outdoors; give --lumens-per-watt to make it from the radiation "
                "(daylight has about 105 lm/W)"
            )
        return radiation * lumens_per_watt
    for unit in (1.0, 100.0):
        efficacy = unit * float(lux.sum()) / max(float(radiation.sum()), 1e-9)
        if _LEAST_LM_PER_W <= efficacy <= _MOST_LM_PER_W:
            return unit * lux
    raise InputError(
        f"{where}: light and radiation do not agree: {lux.sum() / max(radiation.sum(), 1e-9):.3g} lm/W, "
        f"where daylight has {_LEAST_LM_PER_W:g} to {_MOST_LM_PER_W:g}; neither lux nor hundreds of lux"
    )


def _read_table(path: Path, ending: str) -> pd.DataFrame:
    """Read a file through pvlib; whatever it stumbles over, the file is told to be damaged."""
    import pandas as pd
    import pvlib

    where = str(path)
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise InputError(f"{where}: is larger than {_LARGEST_BYTES // 1_000_000} MB: no year of weather")
        found: pd.DataFrame
        with warnings.catch_warnings():
            # pandas guesses types; what is no number is told by `_numbers`
            warnings.simplefilter("ignore", pd.errors.DtypeWarning)
            if ending == ".epw":
                found, _ = pvlib.iotools.read_epw(str(path), coerce_year=2023)
            elif ending == ".tm2":
                found, _ = pvlib.iotools.read_tmy2(str(path))
            else:
                found, _ = pvlib.iotools.read_tmy3(str(path), coerce_year=2023, map_variables=False)
    except OSError as error:
        raise InputError(f"{where}: cannot be read: {error.strerror or error}") from None
    except (ValueError, LookupError, NameError, TypeError, AttributeError) as error:
        told = printable(str(error))
        raise InputError(f"{where}: is damaged, or not what its name says ({told})") from None
    return found


def _numbers(table: pd.DataFrame, name: str, where: str) -> FloatColumn:
    """One column as numbers, none below 0 or missing."""
    import pandas as pd

    found = pd.to_numeric(table[name], errors="coerce").to_numpy(dtype=np.float64)
    bad = np.flatnonzero(~np.isfinite(found) | (found < 0.0))
    if len(bad):
        raise InputError(f"{where}: hour {int(bad[0]) + 1} has no number, or one below 0, in {name}")
    return np.asarray(found, dtype=np.float64)
