"""One hour in three aisles: its numbers, and its picture.

Comes in: the first run of the packaged pallet reserve.  Goes out: rows of five kinds, times from the hour's
beginning [s], places from the front mouth [m]:

hour    `item` is its date and time
aisle   from 0 to its length; `value`: trucks that came in within the hour
light   a rectangle of time and place; `value`: the level, share of full
truck   a corner of a truck's line at `time_s` and `from_m`, `item` numbers the trucks of an aisle; `value`: 1
        where the light at the truck is low from here to the next corner, else 0
seen    motion seen by the zone from `time_s` to `end_s`
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

import sim
from figures.small import small_figure, small_png, small_style
from sim.results import Result
from sim.show.figures.hour import draw_strip
from sim.show.figures.style import INK
from sim.show.numbers.hour import HourNumbers, Shade, Strip, hour_numbers
from sim.show.numbers.tracks import Track
from sim.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

SPAN_S = (2 * SECONDS_PER_DAY + 8 * SECONDS_PER_HOUR, 2 * SECONDS_PER_DAY + 9 * SECONDS_PER_HOUR)
"""Wednesday 08:00 to 09:00, the hour that the report chooses by itself; of its aisles the busiest, the middle
one and the quietest are shown."""

COLUMNS = ("kind", "aisle", "item", "time_s", "end_s", "from_m", "to_m", "value")
Row = tuple[str, str, str, float, float, float, float, float]
NOTHING = float("nan")


def compute(result: Result | None = None) -> pd.DataFrame:
    """Return the hour as rows."""
    result = sim.run(sim.load(), replications=1) if result is None else result
    numbers = hour_numbers(result, SPAN_S)
    start = result.scenario.start_datetime + dt.timedelta(seconds=SPAN_S[0])
    rows: list[Row] = [
        ("hour", "", f"{start:%Y-%m-%d %H:%M}", 0.0, SPAN_S[1] - SPAN_S[0], NOTHING, NOTHING, NOTHING)
    ]
    ranked = sorted(numbers.strips, key=lambda strip: -strip.count)
    for strip in (ranked[0], ranked[len(ranked) // 2], ranked[-1]):
        rows += _rows_of(strip)
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    times = table["kind"] != "hour"
    table.loc[times, ["time_s", "end_s"]] -= SPAN_S[0]
    return table.round({"time_s": 6, "end_s": 6, "from_m": 6, "to_m": 6})


def _rows_of(strip: Strip) -> Iterator[Row]:
    """Rows of one aisle, times from the run's start."""
    name, shade = strip.aisle, strip.shade
    yield "aisle", name, "", *SPAN_S, 0.0, strip.length_m, float(strip.count)
    for values in zip(shade.start_s, shade.end_s, shade.from_m, shade.to_m, shade.level, strict=True):
        start, end, near, far, level = map(float, values)
        yield "light", name, "", start, end, near, far, level
    for number, track in enumerate(strip.tracks, start=1):
        is_dim = [*track.is_dim.astype(float).tolist(), NOTHING]
        for time_s, place, dim in zip(track.time_s.tolist(), track.position_m.tolist(), is_dim, strict=True):
            yield "truck", name, str(number), time_s, NOTHING, place, NOTHING, dim
    for start, end, near, far in strip.seen:
        yield "seen", name, "", start, end, near, far, NOTHING


def _strip(table: pd.DataFrame, aisle: str) -> Strip:
    """Build an aisle of the picture from its rows."""
    own = dict(iter(table[table["aisle"] == aisle].groupby("kind")))
    light, whole = own["light"], own["aisle"].iloc[0]
    return Strip(
        aisle=aisle,
        count=int(whole["value"]),
        length_m=float(whole["to_m"]),
        cut_m=(),
        reach_m=(),
        shade=Shade(*(light[name].to_numpy() for name in ("time_s", "end_s", "from_m", "to_m", "value"))),
        tracks=tuple(
            Track(
                str(number),
                rows["time_s"].to_numpy(),
                rows["from_m"].to_numpy(),
                rows["value"].to_numpy()[:-1] == 1.0,
                knows_position=True,
            )
            for number, rows in own["truck"].groupby("item")
        ),
        seen=tuple(own["seen"][["time_s", "end_s", "from_m", "to_m"]].itertuples(index=False, name=None)),
        border_s=(),
    )


def draw(table: pd.DataFrame) -> bytes:
    """Draw the aisles one above the other; a few words say what is what."""
    begin, length_s = dt.datetime.fromisoformat(table["item"].iloc[0]), float(table["end_s"].iloc[0])
    strips = tuple(_strip(table, aisle) for aisle in table.loc[table["kind"] == "aisle", "aisle"])
    numbers = HourNumbers(0.0, length_s, "", strips, True, "", "")
    with small_style():
        figure = small_figure("One hour in three aisles")
        all_axes = figure.subplots(len(strips), 1, sharex=True)
        for axes, strip in zip(all_axes, strips, strict=True):
            draw_strip(axes, strip, numbers)
            for text in list(axes.texts):
                text.remove()
            axes.set_yticks([strip.length_m / 2.0], [strip.aisle])
            axes.tick_params(axis="y", pad=2)
        busy, quiet, idle = all_axes
        middle = strips[0].length_m / 2.0
        _say(busy, 27.0, middle, "full\nlight")
        _say(quiet, 28.7, middle, "30 %")
        _say(quiet, 18.2, middle, "in,\nout")
        _say(idle, 26.0, middle, "nobody there: 30 %")
        _say(idle, 41.0, 1.19 * strips[2].length_m, "motion seen")
        idle.set_xlim(0.0, length_s)
        ticks = np.arange(0.0, length_s + 1.0, 1200.0)
        idle.set_xticks(ticks, [f"{begin + dt.timedelta(seconds=tick):%H:%M}" for tick in ticks.tolist()])
        idle.tick_params(axis="x", length=3)
        return small_png(figure)


def _say(axes: Axes, minute: float, place_m: float, words: str) -> None:
    """Write words into the light."""
    axes.text(60.0 * minute, place_m, words, ha="center", va="center", linespacing=1.0, color=INK, zorder=6)
