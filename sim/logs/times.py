"""Times as a log writes them: seconds of the run, date-times with or without offset, or a format of its own.

Comes in: texts of cells, the run's clock, the log's form.  Goes out: seconds from the scenario's start, exact
to the digits given.  The ground: used by `logs/reader`.  All times of a log are of one kind; the first one
decides.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.logs.cells import Cells, empty_cells
from sim.logs.clock import AMBIGUOUS, RunClock, wall_seconds
from sim.logs.form import LogForm
from sim.logs.stamps import Stamp, Stamps, cut_stamps, is_stamp, parse_stamp
from sim.logs.values import parse_number, read_numbers, slip_text
from sim.records import FloatColumn
from sim.wording import printable

__all__ = ["TimeReader", "Times"]

_WORDS = {"seconds": "seconds", "local": "date-times", "offset": "date-times with offset"}
_EXACT = 2**53
_UNIX = {"unix": 1.0, "unix_ms": 1e-3}


@dataclass(frozen=True)
class Times:
    """A column of times.

    Attributes
    ----------
    seconds : from the scenario's start; nan where empty or at fault [s] (n,)
    is_repeat : whether it lies in the second pass of an hour that the clock shows twice (n,)
    faults : row to what is wrong with it
    """

    seconds: FloatColumn
    is_repeat: NDArray[np.bool_]
    faults: dict[int, str] = field(default_factory=dict)


class TimeReader:
    """Reads the times of one log.

    Parameters
    ----------
    clock : of the run
    form : of the log
    """

    def __init__(self, clock: RunClock, form: LogForm) -> None:
        self._clock = clock
        self._form = form
        self._kind = ""
        self._first = wall_seconds(clock.start)
        self._micro = clock.start.microsecond / 1e6

    def read(self, texts: Sequence[str], factor: float = 1.0) -> Times:
        """Turn texts into seconds of the run.

        Parameters
        ----------
        texts : of one column (n,)
        factor : what plain numbers are multiplied by to be seconds
        """
        if not self._kind and not self._form.time:
            first = next((text for text in texts if text), None)
            if first is not None:
                self._kind = _kind_of(first)
        if self._form.time in _UNIX:
            return self._read_unix(texts, _UNIX[self._form.time])
        if self._kind == "seconds":
            return self._read_seconds(texts, factor)
        is_empty = empty_cells(texts)
        if not is_empty.any():
            return self._read_stamps(texts)
        filled = np.flatnonzero(~is_empty)
        some = texts.take(filled) if isinstance(texts, Cells) else [text for text in texts if text]
        inner = self._read_stamps(some)
        seconds, is_repeat = np.full(len(texts), np.nan), np.zeros(len(texts), dtype=bool)
        seconds[filled], is_repeat[filled] = inner.seconds, inner.is_repeat
        return Times(seconds, is_repeat, {int(filled[row]): said for row, said in inner.faults.items()})

    def _numbers(self, texts: Sequence[str]) -> tuple[FloatColumn, dict[int, str]]:
        """Plain numbers, and what is at fault."""
        values, faults = read_numbers(texts, self._form.decimal)
        return values, {row: self._fault(texts[row]) for row in faults}

    def _read_seconds(self, texts: Sequence[str], factor: float) -> Times:
        """Seconds from the start."""
        values, faults = self._numbers(texts)
        return Times(values if factor == 1.0 else values * factor, np.zeros(len(texts), dtype=bool), faults)

    def _read_unix(self, texts: Sequence[str], factor: float) -> Times:
        """Seconds or milliseconds since 1970 UTC."""
        values, faults = self._numbers(texts)
        none = np.zeros(len(texts), dtype=bool)
        if not self._clock.zone:
            return Times(values * np.nan, none, {0: _no_zone("a time since 1970 UTC")} if len(texts) else {})
        known = np.nan_to_num(values * factor)
        is_far = np.abs(known) > 1e11
        faults |= {row: self._fault(texts[row]) for row in np.flatnonzero(is_far).tolist()}
        known = np.where(is_far, 0.0, known)
        whole = np.floor(known)
        seconds, is_repeat = self._clock.run_seconds(whole.astype(np.int64))
        found = seconds + np.where(is_repeat, 0.0, known - whole) - self._micro
        return Times(np.where(np.isnan(values) | is_far, np.nan, found), is_repeat, faults)

    def _read_stamps(self, texts: Sequence[str]) -> Times:
        """Date-times; none of them empty."""
        stamps = None if self._form.time else cut_stamps(texts)
        faults: dict[int, str] = {}
        if stamps is None:
            parse = _parser(self._form.time) if self._form.time else parse_stamp
            parsed = [parse(text) for text in texts]
            if not self._kind:
                self._kind = "offset" if parsed and parsed[0] and parsed[0].offset is not None else "local"
            faults = {row: self._fault(texts[row]) for row, stamp in enumerate(parsed) if stamp is None}
            stamps = Stamps.of(parsed)
        is_other = stamps.has_offset != (self._kind == "offset")
        faults = {row: self._fault(texts[row]) for row in np.flatnonzero(is_other).tolist()} | faults
        if self._kind == "offset" and not self._clock.zone:
            faults |= {row: _no_zone(f'"{printable(texts[row])}"') for row in range(len(texts))}
        return self._place(texts, stamps, faults)

    def _place(self, texts: Sequence[str], stamps: Stamps, faults: dict[int, str]) -> Times:
        """Put date-times on the run's clock."""
        if self._kind == "offset":
            utc = stamps.wall - stamps.offset
        else:
            utc, flag = self._clock.instants(stamps.wall, self._form.dst)
            for row in np.flatnonzero(flag).tolist():
                faults.setdefault(row, self._odd(texts[row], int(flag[row])))
        whole, is_repeat = self._clock.run_seconds(utc)
        power = 10**stamps.digits
        exact = whole * power + np.where(is_repeat, 0, stamps.fraction)
        seconds = exact / power
        for place in np.flatnonzero(np.abs(exact) >= _EXACT).tolist():
            seconds[place] = _nearest(int(exact[place]), int(stamps.digits[place]))
        if self._micro:
            seconds = seconds - self._micro
        if faults:
            seconds[list(faults)] = np.nan
        return Times(seconds + 0.0, is_repeat, faults)

    def _odd(self, text: str, flag: int) -> str:
        """Say what is wrong with a local time at the change of the clock."""
        shown, zone = printable(text), self._clock.zone
        if flag == AMBIGUOUS:
            said = f'"{shown}" comes twice in {zone}: the clock is put back'
        else:
            said = f'"{shown}" never comes in {zone}: the clock is put forward'
        return f'{said}; write times with their offset, or say dst = "first" or "second" in a columns file'

    def _fault(self, text: str) -> str:
        """Say why a text is no time of this log."""
        shown = f'"{printable(text)}"'
        if self._form.time in _UNIX:
            return f"{shown} is no time since 1970; the columns file says time = {self._form.time}"
        if self._form.time:
            return f"{shown} is not written as {self._form.time}"
        kind = _kind_of(text)
        if kind == "offset" and not self._clock.zone:
            return _no_zone(shown)
        if kind != self._kind and (kind != "seconds" or parse_number(text) is not None):
            first = _WORDS[self._kind]
            return f"{shown} is of another kind than the first time of the log, {first}; use one kind"
        return f"{shown} is not a time: seconds from the start, or as 2027-03-01T06:00:00{slip_text(text)}"


def _no_zone(shown: str) -> str:
    """What is said of an instant where the scenario has no zone."""
    return f'{shown} has a time zone; give the scenario a timezone = "...", or write local time without it'


def _kind_of(text: str) -> str:
    """Return the kind of a time, by its looks."""
    stamp = parse_stamp(text)
    if stamp is not None:
        return "local" if stamp.offset is None else "offset"
    return "local" if is_stamp(text) else "seconds"


def _nearest(numerator: int, digits: int) -> float:
    """Double nearest to a whole number of parts of a second."""
    sign, size = ("-" if numerator < 0 else ""), abs(numerator)
    return float(f"{sign}{size // 10**digits}.{size % 10**digits:0{digits}d}") if digits else float(numerator)


@lru_cache(maxsize=8)
def _parser(time_format: str) -> Callable[[str], Stamp | None]:
    """Return a reader of times in a format of `datetime.strptime`."""

    @lru_cache(maxsize=65_536)
    def parse(text: str) -> Stamp | None:
        try:
            moment = dt.datetime.strptime(text, time_format)
        except ValueError:
            return None
        offset = moment.utcoffset()
        return Stamp(
            wall_seconds(moment),
            None if offset is None else offset.days * 86_400 + offset.seconds,
            moment.microsecond,
            6 if moment.microsecond else 0,
        )

    return parse
