"""Time stamps of a meter as instants: ISO 8601 with offset, or naive in a time zone.

Comes in: texts of a column, a zone.  Goes out: `Instants` and what is wrong with single rows.  Before:
`wording`; after: `verification/meter`.  Nothing is guessed: a clock time that a zone shows twice or never is
a fault unless it is said which one is meant; only where such a time stands in a file exactly twice is the
first the earlier one, as in any log that is in order of time.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from sim.records import IntColumn
from sim.wording import printable

__all__ = ["Dst", "Instants", "find_zone", "read_instants", "wall_clock"]

Dst = Literal["first", "second"]

_STAMP = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ]([0-9]{2}:[0-9]{2})(:[0-9]{2})?(Z|[+-][0-9]{2}:?[0-9]{2})?"
)
_EPOCH = dt.datetime(1970, 1, 1)
_YEARS = range(1971, 2201)
"""An offset leads to no year that the calendar lacks."""
_EXAMPLE = "write as 2027-03-01T06:00 or 2027-03-01T06:00+01:00"


@dataclass(frozen=True)
class Instants:
    """Instants of the rows of a file.

    Attributes
    ----------
    utc_s : seconds since 1970 in UTC; of the local clock itself where no zone is known (n,)
    wall_s : what the local clock shows, as seconds since 1970 without zone (n,)
    faults : row and sentence
    notes : how clock times that stand twice were told apart
    """

    utc_s: IntColumn
    wall_s: IntColumn
    faults: tuple[tuple[int, str], ...] = ()
    notes: tuple[str, ...] = field(default=())


def find_zone(name: str) -> ZoneInfo | None:
    """Return a zone of the IANA database, None where there is no such one here.

    Examples
    --------
    >>> find_zone("Europe/Nowhere") is None
    True
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def wall_clock(utc_s: IntColumn, zone: ZoneInfo) -> IntColumn:
    """Return what the clocks of a zone show, as seconds since 1970 without zone (n,)."""
    epoch = _EPOCH.replace(tzinfo=dt.UTC)
    offsets = [
        _seconds((epoch + dt.timedelta(seconds=second)).astimezone(zone).utcoffset())
        for second in utc_s.tolist()
    ]
    return utc_s + np.array(offsets, dtype=np.int64)


def read_instants(texts: Sequence[str], zone: ZoneInfo | None, dst: Dst | None = None) -> Instants:
    """Read the time stamps of a file.

    Parameters
    ----------
    texts : cells in the order of the file (n,)
    zone : of naive stamps, and of the clock that days and hours go by; None: none is known
    dst : which instant a clock time means that a zone shows twice; of times that it never shows, the one by
        the offset before ("first") or after ("second") the change

    Examples
    --------
    >>> found = read_instants(["2026-10-25T02:30", "2026-10-25T02:30"], ZoneInfo("Europe/Berlin"))
    >>> np.diff(found.utc_s).tolist(), found.wall_s.tolist()[0] == found.wall_s.tolist()[1]
    ([3600], True)
    """
    parsed = [_parse(text) for text in texts]
    faults = [(row, _why(texts[row])) for row, moment in enumerate(parsed) if moment is None]
    first = next((moment for moment in parsed if moment is not None), None)
    has_offset = first is not None and first.tzinfo is not None
    counts = Counter(moment for moment in parsed if moment is not None) if not has_offset and zone else {}
    utc, wall = np.zeros(len(texts), dtype=np.int64), np.zeros(len(texts), dtype=np.int64)
    seen: Counter[dt.datetime] = Counter()
    paired: list[dt.datetime] = []
    for row, moment in enumerate(parsed):
        if moment is None:
            continue
        if (moment.tzinfo is not None) != has_offset:
            kind = "with an offset" if has_offset else "without an offset"
            text = printable(texts[row])
            faults.append((row, f'"{text}" is of another kind than the first time, {kind}; use one kind'))
        elif moment.tzinfo is not None:
            utc[row] = _since_epoch(moment.astimezone(dt.UTC).replace(tzinfo=None))
            wall[row] = _since_epoch((moment.astimezone(zone) if zone else moment).replace(tzinfo=None))
        elif zone is None:
            utc[row] = wall[row] = _since_epoch(moment)
        else:
            offsets = [_seconds(moment.replace(tzinfo=zone, fold=fold).utcoffset()) for fold in (0, 1)]
            fold = 0
            if offsets[0] != offsets[1]:
                is_twice = offsets[0] > offsets[1]
                if is_twice and counts[moment] == 2:
                    fold = seen[moment]
                    paired += [moment] * (fold == 0)
                elif dst is None:
                    faults.append((row, _unsure(texts[row], zone, is_twice, counts[moment])))
                else:
                    fold = ("first", "second").index(dst)
                seen[moment] += 1
            utc[row] = _since_epoch(moment) - offsets[fold]
            wall[row] = utc[row] + _seconds(
                (_EPOCH.replace(tzinfo=dt.UTC) + dt.timedelta(seconds=int(utc[row])))
                .astimezone(zone)
                .utcoffset()
            )
    notes: tuple[str, ...] = ()
    if paired:
        notes = (
            f"clock times that the zone shows twice stand twice ({paired[0]:%Y-%m-%d}, {len(paired)} times): "
            "the first of each is taken for the earlier",
        )
    return Instants(utc, wall, tuple(sorted(faults)), notes)


def _parse(text: str) -> dt.datetime | None:
    """Read one stamp, None if it is none."""
    match = _STAMP.fullmatch(text)
    if match is None:
        return None
    offset = (match[4] or "").replace("Z", "+00:00")
    try:
        moment = dt.datetime.fromisoformat(f"{match[1]}T{match[2]}{match[3] or ':00'}{offset}")
    except ValueError:
        return None
    return moment if moment.year in _YEARS else None


def _why(text: str) -> str:
    """Say why a text is not a time."""
    if not text:
        return f"is empty; a time is needed in every row, {_EXAMPLE}"
    return f'"{printable(text)}" is not a time from {_YEARS[0]} to {_YEARS[-1]}, to the second; {_EXAMPLE}'


def _unsure(text: str, zone: ZoneInfo, is_twice: bool, count: int) -> str:
    """Say that a clock time is shown twice or never."""
    shown = f'"{printable(text)}" is a time that clocks in {zone.key} show'
    cure = "write offsets, such as +01:00, or say --dst first or --dst second"
    if not is_twice:
        return f"{shown} never: they are put forward over it; {cure}"
    stands = "once" if count == 1 else f"{count} times"
    return f"{shown} twice, and it stands here {stands}; {cure}"


def _seconds(offset: dt.timedelta | None) -> int:
    """An offset as seconds."""
    return 0 if offset is None else round(offset.total_seconds())


def _since_epoch(moment: dt.datetime) -> int:
    """Seconds since 1970 of a moment without zone."""
    return round((moment - _EPOCH).total_seconds())
