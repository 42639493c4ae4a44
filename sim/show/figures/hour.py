"""The space-time picture: one hour of a few aisles, trucks as lines over the light.

Comes in: the numbers of `show/numbers/hour`.  Goes out: a figure.  After it: `show/figures/draw`.
"""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sim.show.figures.style import (
    DIM,
    INK,
    LIGHT_RAMP,
    MUTED,
    PAPER,
    blank_figure,
    legend_above,
    time_ticks,
    title,
)
from sim.show.numbers.hour import HourNumbers, Strip
from sim.show.numbers.tracks import Track
from sim.show.words.amounts import day_label

__all__ = ["draw_hour", "draw_strip"]

TRUCK = "#0f3d66"
UNKNOWN_PLACE = (0, (3, 1))
BORDER = (0, (1, 1.5))
STRIP_IN = 0.95
KEY_COLUMNS = 5
GUTTER = 0.1
MOST_GUTTER = 0.4
"""Height of the row of detections above an aisle for each of its zones, and of all rows together, as
shares of the aisle's length."""

LEAST_SHARE = 0.02
"""A level that takes less of the picture than this (a fade's slice) is not in the key."""


def draw_hour(numbers: HourNumbers, start: dt.datetime) -> Figure:
    """Draw the chosen aisles one above the other over the same hour."""
    strips = numbers.strips
    figure = blank_figure(1.0 + STRIP_IN * max(len(strips), 1))
    all_axes = figure.subplots(len(strips), 1, sharex=True, squeeze=False)[:, 0]
    for axes, strip in zip(all_axes, strips, strict=True):
        draw_strip(axes, strip, numbers)
    begin = start + dt.timedelta(seconds=numbers.start_s)
    end = start + dt.timedelta(seconds=numbers.end_s)
    places, texts = time_ticks(begin, numbers.end_s - numbers.start_s)
    all_axes[-1].set_xlim(numbers.start_s, numbers.end_s)
    all_axes[-1].set_xticks(places + numbers.start_s, texts)
    all_axes[-1].tick_params(axis="x", length=3)
    handles, labels = _draw_key(strips)
    key_lines = -(-len(labels) // KEY_COLUMNS)
    title(
        all_axes[0],
        f"One hour in {len(strips)} {'aisle' if len(strips) == 1 else 'aisles'}: {day_label(begin)}, "
        f"{begin:%H:%M} to {end:%H:%M}, {numbers.whose}",
        key_lines=key_lines,
    )
    legend_above(all_axes[0], handles, labels, columns=-(-len(labels) // key_lines))
    figure.supylabel("distance from the front mouth [m]", fontsize=8.0)
    return figure


def draw_strip(axes: Axes, strip: Strip, numbers: HourNumbers) -> None:
    """Draw one aisle: light, then trucks, then what was seen of them in a row above.

    Parameters
    ----------
    axes : to draw on
    strip : the aisle
    numbers : the hour that it belongs to
    """
    shade, length = strip.shade, strip.length_m
    corners = np.stack(
        [
            np.stack([shade.start_s, shade.from_m], axis=-1),
            np.stack([shade.end_s, shade.from_m], axis=-1),
            np.stack([shade.end_s, shade.to_m], axis=-1),
            np.stack([shade.start_s, shade.to_m], axis=-1),
        ],
        axis=1,
    )
    colours = LIGHT_RAMP(shade.level)
    axes.add_collection(PolyCollection(list(corners), facecolors=colours, edgecolors=colours, linewidths=0.2))
    for cut in strip.cut_m:
        axes.axhline(cut, color=PAPER, linewidth=0.8)
    for border in strip.border_s:
        axes.vlines(border, 0.0, length, color=INK, linewidth=0.9, linestyle=BORDER)
    for track in strip.tracks:
        _draw_track(axes, track)
    zone_from = sorted({near for _, _, near, _ in strip.seen} | {0.0, *strip.cut_m})
    gutter = min(GUTTER * len(zone_from), MOST_GUTTER) * length
    row = gutter / len(zone_from)
    least = (numbers.end_s - numbers.start_s) * 0.0012
    seen = []
    for begin, end, near, _ in strip.seen:
        low, last = length + (zone_from.index(near) + 0.3) * row, max(end, begin + least)
        seen.append([(begin, low), (last, low), (last, low + 0.7 * row), (begin, low + 0.7 * row)])
    axes.add_collection(PolyCollection(seen, facecolors=INK, edgecolors="none"))
    for near, far in strip.reach_m:
        axes.plot(
            [-0.006, -0.006], [near, far], transform=axes.get_yaxis_transform(), color=INK, linewidth=2.2,
            solid_capstyle="butt", clip_on=False,
        )
    axes.set_ylim(0.0, 1.02 * length + gutter)
    ticks = [0.0, length]
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.tick_params(axis="x", length=0)
    axes.tick_params(axis="y", length=0, pad=7)
    for side in axes.spines.values():
        side.set_visible(False)
    noun = "in" if numbers.knows_visits else "seen"
    axes.annotate(
        strip.aisle, (1.008, length / 2.0), xycoords=("axes fraction", "data"), va="bottom",
        fontsize=8.0, fontweight="bold", annotation_clip=False,
    )
    axes.annotate(
        f"{strip.count} {noun}", (1.008, length / 2.0), xycoords=("axes fraction", "data"), va="top",
        fontsize=7.0, color=MUTED, annotation_clip=False,
    )


def _draw_track(axes: Axes, track: Track) -> None:
    """Draw one truck's line with a pale edge, heavy and red where its light was low."""
    corners = np.stack([track.time_s, track.position_m], axis=-1)
    turns = np.flatnonzero(np.diff(track.is_dim)) + 1
    pieces = [
        (bool(track.is_dim[first]), corners[first:last + 1])
        for first, last in pairwise([0, *turns.tolist(), len(track.is_dim)])
    ]
    line = "-" if track.knows_position else UNKNOWN_PLACE
    axes.add_collection(LineCollection([corners], colors=PAPER, linewidths=2.6, alpha=0.75, capstyle="round"))
    for is_dim, piece in pieces:
        colour, width = (DIM, 2.4) if is_dim else (TRUCK, 1.2)
        axes.add_collection(
            LineCollection(
                [piece], colors=colour, linewidths=width, linestyles=[line],
                capstyle="round", joinstyle="round",
            )
        )


def _draw_key(strips: tuple[Strip, ...]) -> tuple[list[Line2D | Patch], list[str]]:
    """Return the key's handles and labels: lines, and the light levels that take most of the time."""
    tracks = [track for strip in strips for track in strip.tracks]
    handles: list[Line2D | Patch] = []
    labels: list[str] = []
    if any(track.knows_position for track in tracks):
        handles.append(Line2D([], [], color=TRUCK, linewidth=1.4))
        labels.append("truck")
    if not all(track.knows_position for track in tracks):
        handles.append(Line2D([], [], color=TRUCK, linewidth=1.4, linestyle=UNKNOWN_PLACE))
        labels.append("truck, place not known")
    if any(track.is_dim.any() for track in tracks):
        handles.append(Line2D([], [], color=DIM, linewidth=2.6))
        labels.append("truck in dim light")
    handles += [
        Line2D([], [], color=INK, marker="|", linestyle="none", markersize=4, markeredgewidth=2.0),
        Line2D([], [], color=INK, marker="|", linestyle="none", markersize=9, markeredgewidth=2.6),
    ]
    labels += ["motion seen", "sensor reach"]
    if any(strip.border_s for strip in strips):
        handles.append(Line2D([], [], color=INK, linewidth=0.9, linestyle=BORDER))
        labels.append("timetable border")
    seconds: dict[float, float] = {}
    for strip in strips:
        for level, begin, end in zip(strip.shade.level, strip.shade.start_s, strip.shade.end_s, strict=True):
            seconds[round(float(level), 3)] = seconds.get(round(float(level), 3), 0.0) + float(end - begin)
    shown = [level for level, spent in seconds.items() if spent > LEAST_SHARE * sum(seconds.values())]
    for level in sorted(sorted(shown, key=lambda level: -seconds[level])[:4], reverse=True):
        handles.append(Patch(facecolor=LIGHT_RAMP(level), edgecolor=MUTED, linewidth=0.4))
        labels.append(f"light {100.0 * level:.0f} %")
    return handles, labels
