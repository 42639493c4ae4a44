"""The film: the space-time picture as time passes, the plan with its lights beside it.

Comes in: the numbers of `show/numbers/film`.  Goes out: a GIF or an MP4.  After it: `commands/film`.  What
stands still is drawn once and laid under every frame.  Light runs on one scale from slate to lamp white, the
same in both pictures; motion seen is an outline, a truck in too little light has another shape as well as
colour.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.animation import FFMpegWriter, FuncAnimation, PillowWriter
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.text import Text
from PIL import Image

from sim.records import FloatColumn
from sim.show.figures.hour import TRUCK, draw_strip
from sim.show.figures.style import DIM, GRID, INK, LIGHT_RAMP, MUTED, PAPER, style, time_ticks
from sim.show.numbers.film import Box, FilmNumbers
from sim.show.words.amounts import day_label

__all__ = ["can_write_mp4", "draw_frame", "write_film"]

SIZE_IN = (9.6, 5.4)
DPI = 100
MOST_NAMES = 16
"""Aisles of a plan that has room for all their names; else the first and the last are named."""
VEIL = 0.88
"""How much what is still to come is hidden."""
COLOURS = 128
"""Of a GIF's one palette for all frames."""
SEEN_WIDTH, QUIET_WIDTH = 1.5, 0.4
_RING: Any = {"color": TRUCK, "markersize": 4.5, "markerfacecolor": PAPER, "markeredgewidth": 1.2}


def can_write_mp4() -> bool:
    """Return whether ffmpeg is on this machine."""
    return bool(FFMpegWriter.isAvailable())


def write_film(
    numbers: FilmNumbers,
    start: dt.datetime,
    out: Path,
    frames_per_s: float,
    tell: Callable[[int, int | None], None] = lambda done, expected: None,
) -> None:
    """Write the film.

    Parameters
    ----------
    numbers : its frames
    start : when the run starts
    out : a file that ends in .gif or .mp4
    frames_per_s : pace
    tell : called with frames done and expected

    Raises
    ------
    OSError : the file cannot be written
    """
    with style():
        stage = _set_stage(numbers, start)
        film = FuncAnimation(
            stage.figure, lambda frame: _show(stage, numbers, start, int(frame)), frames=len(numbers.time_s),
            init_func=lambda: (),
        )
        writer: Any = (
            FFMpegWriter(fps=int(frames_per_s), codec="libx264", extra_args=["-pix_fmt", "yuv420p"])
            if out.suffix == ".mp4"
            else _PaletteWriter(fps=int(frames_per_s))
        )
        film.save(out, writer=writer, dpi=DPI, progress_callback=lambda done, count: tell(done + 1, count))


def draw_frame(numbers: FilmNumbers, start: dt.datetime, frame: int) -> Figure:
    """Return one frame as a figure.

    Parameters
    ----------
    numbers : the film
    start : when the run starts
    frame : its number
    """
    stage = _set_stage(numbers, start)
    _show(stage, numbers, start, frame)
    return stage.figure


class _PaletteWriter(PillowWriter):
    """Writes a GIF with one palette for all frames, without dither: what stands still costs nothing."""

    _frames: list[Image.Image]

    def finish(self) -> None:
        """Reduce the colours and write."""
        one = self._frames[len(self._frames) // 2].convert("RGB")
        # colours of small marks get a place in the palette whatever is in the middle of the film
        for place, colour in enumerate((TRUCK, DIM, INK, PAPER)):
            one.paste(colour, (0, 4 * place, one.width, 4 * place + 4))
        palette = one.quantize(COLOURS, method=Image.Quantize.MEDIANCUT)
        frames = [
            image.convert("RGB").quantize(palette=palette, dither=Image.Dither.NONE)
            for image in self._frames
        ]
        frames[0].save(
            self.outfile, save_all=True, append_images=frames[1:], duration=int(1000 / self.fps), loop=0,
            optimize=False,
        )


@dataclass(frozen=True)
class _Stage:
    """What moves, above what stands still."""

    figure: Figure
    clock: Text
    veils: list[Rectangle]
    hands: list[Line2D]
    zones: PolyCollection
    seen: PolyCollection
    bright: Line2D
    dim: Line2D
    around: Line2D
    corners: list[list[tuple[float, float]]]


def _set_stage(numbers: FilmNumbers, start: dt.datetime) -> _Stage:
    """Draw what stands still, and make what moves."""
    base = Figure(figsize=SIZE_IN, dpi=DPI, layout="constrained")
    canvas: Any = FigureCanvasAgg(base)
    hour = numbers.hour
    grid = base.add_gridspec(len(hour.strips), 2, width_ratios=[1.6, 1.0], wspace=0.06)
    strips = [base.add_subplot(grid[row, 0]) for row in range(len(hour.strips))]
    plan = base.add_subplot(grid[:, 1])
    for axes, strip in zip(strips, hour.strips, strict=True):
        draw_strip(axes, strip, hour)
        axes.set_xlim(hour.start_s, hour.end_s)
        axes.set_xticks([])
    begin = start + dt.timedelta(seconds=hour.start_s)
    places, texts = time_ticks(begin, hour.end_s - hour.start_s)
    strips[-1].set_xticks(places + hour.start_s, texts)
    strips[-1].tick_params(axis="x", length=3)
    strips[0].set_title(
        "Distance from the front mouth [m] over time", loc="left", fontweight="bold", color=INK, pad=6.0
    )
    _draw_plan(plan, numbers)
    _draw_keys(base, numbers)
    canvas.draw()
    still = np.asarray(canvas.buffer_rgba()).copy()
    figure = Figure(figsize=SIZE_IN, dpi=DPI)
    FigureCanvasAgg(figure)
    figure.figimage(still, zorder=-1)
    over = [_overlay(figure, axes) for axes in strips]
    floor = _overlay(figure, plan)
    veils = []
    for axes in over:
        low, high = axes.get_ylim()
        veils.append(Rectangle((0.0, low), 0.0, high - low, facecolor=PAPER, alpha=VEIL))
        axes.add_patch(veils[-1])
    hands = [axes.axvline(hour.start_s, color=INK, linewidth=1.0) for axes in over]
    corners = [_corners(box) for box in numbers.boxes]
    zones = PolyCollection(corners, edgecolors=MUTED, linewidths=QUIET_WIDTH)
    seen = PolyCollection([], facecolors="none", edgecolors=INK, linewidths=SEEN_WIDTH)
    floor.add_collection(zones)
    floor.add_collection(seen)
    edge: Any = {"markeredgecolor": PAPER, "markeredgewidth": 0.8}
    bright = floor.plot([], [], "o", color=TRUCK, markersize=5.5, **edge)[0]
    dim = floor.plot([], [], "D", color=DIM, markersize=6.0, **edge)[0]
    around = floor.plot([], [], "o", **_RING)[0]
    clock = figure.text(
        floor.get_position().x0, 0.985, "", fontsize=15, fontweight="bold", color=INK, va="top"
    )
    return _Stage(figure, clock, veils, hands, zones, seen, bright, dim, around, corners)


def _overlay(figure: Figure, below: Axes) -> Axes:
    """Empty axes exactly over others."""
    axes: Axes = figure.add_axes(below.get_position().bounds, facecolor="none")
    axes.set_axis_off()
    axes.set_xlim(below.get_xlim())
    axes.set_ylim(below.get_ylim())
    return axes


def _corners(box: Box) -> list[tuple[float, float]]:
    """A zone's rectangle."""
    left, right = box.across_m - 0.5 * box.width_m, box.across_m + 0.5 * box.width_m
    return [(left, box.near_m), (right, box.near_m), (right, box.far_m), (left, box.far_m)]


def _draw_plan(axes: Axes, numbers: FilmNumbers) -> None:
    """Draw the plan's frame: names, scale of lengths."""
    corners = np.concatenate([_corners(box) for box in numbers.boxes])
    left, low = corners.min(axis=0)
    right, high = corners.max(axis=0)
    margin = 0.02 * (right - left)
    low = min(low, -numbers.depth_m)
    axes.set_xlim(left - margin, right + margin)
    axes.set_ylim(low - 0.02 * (high - low), high + 0.02 * (high - low))
    names = numbers.aisle_names
    centres = {box.aisle: box.across_m for box in numbers.boxes if box.aisle >= 0}
    shown = list(centres) if len(centres) <= MOST_NAMES else [min(centres), max(centres)]
    upright = len(shown) > 8 or max(len(names[aisle]) for aisle in shown) > 5
    axes.set_xticks(
        [centres[aisle] for aisle in shown], [names[aisle][:14] for aisle in shown],
        rotation=90 if upright else 0, fontsize=7.0,
    )
    axes.tick_params(length=0)
    axes.set_yticks([0.0, high], ["0", f"{high:.0f} m"])
    if numbers.depth_m > 0.0:
        axes.axhline(-numbers.depth_m, color=MUTED, linewidth=1.0)
        axes.set_yticks([-numbers.depth_m, 0.0, high], ["doors", "0", f"{high:.0f} m"])
    axes.grid(visible=False)
    for side in axes.spines.values():
        side.set_visible(False)
    axes.set_title("Plan: fronts of the aisles below", loc="left", fontweight="bold", color=INK, pad=6.0)


def _draw_keys(figure: Figure, numbers: FilmNumbers) -> None:
    """Put the key below both pictures."""
    marks: Iterable[tuple[Any, str]] = (
        *((Patch(facecolor=LIGHT_RAMP(level), edgecolor=MUTED, linewidth=0.4), f"light {100 * level:.0f} %")
          for level in (1.0, 0.5, 0.0)),
        (Line2D([], [], linestyle="none", marker="o", color=TRUCK, markersize=6.0), "truck"),
        (Line2D([], [], linestyle="none", marker="D", color=DIM, markersize=6.0), "truck in dim light"),
        (Line2D([], [], linestyle="none", marker="o", **_RING), "truck where no light is simulated"),
        (Patch(facecolor=GRID, edgecolor=INK, linewidth=SEEN_WIDTH), "motion seen"),
    )
    kept = [one for one in marks if numbers.hour.knows_visits or not one[1].startswith("truck")]
    if all(dot.is_lit for dots in numbers.dots for dot in dots):
        kept = [one for one in kept if not one[1].endswith("simulated")]
    figure.legend(
        [handle for handle, _ in kept], [label for _, label in kept], loc="outside lower center",
        ncols=len(kept), frameon=False, fontsize=7.5, columnspacing=1.4, handletextpad=0.5,
    )
    # room for the clock
    figure.suptitle(" ", fontsize=15)


def _show(stage: _Stage, numbers: FilmNumbers, start: dt.datetime, frame: int) -> tuple[()]:
    """Show one frame."""
    now, end = float(numbers.time_s[frame]), numbers.hour.end_s
    moment = start + dt.timedelta(seconds=now)
    stage.clock.set_text(f"{day_label(moment)}, {moment:%H:%M:%S}")
    for veil, hand in zip(stage.veils, stage.hands, strict=True):
        veil.set_x(now)
        veil.set_width(end - now)
        hand.set_xdata([now, now])
    stage.zones.set_facecolor(LIGHT_RAMP(numbers.level[frame]))
    stage.seen.set_verts([stage.corners[box] for box in np.flatnonzero(numbers.is_seen[frame]).tolist()])
    dots = numbers.dots[frame]
    stage_lines = (
        (stage.bright, [dot for dot in dots if dot.is_lit and not dot.is_dim]),
        (stage.dim, [dot for dot in dots if dot.is_lit and dot.is_dim]),
        (stage.around, [dot for dot in dots if not dot.is_lit]),
    )
    for line, here in stage_lines:
        line.set_data(_column(dot.across_m for dot in here), _column(dot.along_m for dot in here))
    return ()


def _column(values: Iterable[float]) -> FloatColumn:
    """Numbers as an array."""
    return np.array(list(values), dtype=np.float64)
