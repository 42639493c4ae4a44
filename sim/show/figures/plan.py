"""The site plan: aisles with zones, luminaires and sensors between the cross-aisles, doors in front.

Comes in: the numbers of `show/numbers/plan`.  Goes out: a figure, or the bytes of one.  After it:
`show/figures/draw`, `check`.  Lengths along the aisles have one scale everywhere on the page; widths have one
of their own where the floor would else be too narrow or too wide, and the picture says so.  Shapes tell
things apart, colour only helps.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field
from typing import Any

from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sim.show.figures.style import (
    GRID,
    INK,
    LAMP,
    MUTED,
    PAPER,
    SETTINGS,
    WIDTH_IN,
    blank_figure,
    legend_above,
    render,
    style,
    title,
)
from sim.show.numbers.plan import PlanAisle, PlanArea, PlanNumbers, PlanRow
from sim.show.words.amounts import count_of, plain

__all__ = ["draw_plan", "plan_picture"]

LEFT_IN, RIGHT_IN, TOP_IN, BELOW_IN, ABOVE_IN, FOOT_IN = 0.55, 0.15, 0.5, 0.24, 0.12, 0.1
PLAN_IN = WIDTH_IN - LEFT_IN - RIGHT_IN
LEAST_ROW_IN, MOST_ROW_IN, PAGE_IN = 0.9, 3.9, 9.3
"""Heights of a row without its labels, and of all rows with them: a page is no higher than a printed one."""

MOST_STRETCH = 5.0
"""Widths are drawn at most so many times larger than lengths."""

FLOOR_SHARE = 0.46
"""Width of the aisle itself in its slot; the rest is racks. For the eye alone: the scenario does not say."""

LAMP_AT = -0.17
"""Where luminaires and names stand in the aisle, from its middle, as a share of its width."""

STAGING = "#f3f5f7"
LONGEST_NAME, LETTER_IN = 14, 0.072
MOST_ZONE_NAMES = 12
KEY_COLUMNS = 6
CIRCLE_STEPS = 48

Corner = tuple[float, float]


@dataclass
class _Ink:
    """Shapes gathered before they are put on the page, all in inches."""

    racks: list[list[Corner]] = field(default_factory=list)
    floors: list[list[Corner]] = field(default_factory=list)
    staging: list[list[Corner]] = field(default_factory=list)
    dimmed: list[list[Corner]] = field(default_factory=list)
    fixed: list[list[Corner]] = field(default_factory=list)
    doors: list[list[Corner]] = field(default_factory=list)
    reaches: list[list[Corner]] = field(default_factory=list)
    outside: list[list[Corner]] = field(default_factory=list)
    cuts: list[list[Corner]] = field(default_factory=list)
    ways: list[list[Corner]] = field(default_factory=list)
    stubs: list[list[Corner]] = field(default_factory=list)
    links: list[list[Corner]] = field(default_factory=list)
    joints: list[Corner] = field(default_factory=list)
    areas: list[list[Corner]] = field(default_factory=list)
    circles: list[list[Corner]] = field(default_factory=list)
    eyes: list[Corner] = field(default_factory=list)
    dead: list[Corner] = field(default_factory=list)
    arrows: list[Corner] = field(default_factory=list)
    arrows_down: list[Corner] = field(default_factory=list)


@dataclass(frozen=True)
class _Scale:
    """Inches to a metre across and along, and the height of a row without its labels."""

    across: float
    along: float
    row_in: float


def plan_picture(numbers: PlanNumbers, ending: str) -> bytes:
    """Return the plan as the bytes of a file.

    Parameters
    ----------
    numbers : the plan
    ending : "svg" or "png"
    """
    with style():
        svg, png = render(draw_plan(numbers))
    return svg if ending == "svg" else png


def draw_plan(numbers: PlanNumbers) -> Figure:
    """Draw the plan, row above row."""
    scale = _scale(numbers)
    names_in = _names_in(numbers, scale)
    row_in = scale.row_in + names_in + BELOW_IN + ABOVE_IN
    height = row_in * len(numbers.rows)
    figure = blank_figure(height + TOP_IN + FOOT_IN + 0.1)
    axes = figure.subplots()
    axes.set_axis_off()
    axes.set_xlim(0.0, WIDTH_IN - 0.1)
    axes.set_ylim(-FOOT_IN, height)
    axes.set_aspect("equal", adjustable="box", anchor="NW")
    ink = _Ink()
    for number, row in enumerate(numbers.rows):
        mouth_in = height - (number + 1) * row_in + BELOW_IN + numbers.staging_m * scale.along
        _gather_row(ink, axes, numbers, row, scale, mouth_in)
    _put_down(axes, ink, numbers, scale)
    if numbers.left_out:
        axes.text(LEFT_IN, -FOOT_IN, f"and {numbers.left_out:,} more aisles", fontsize=6.5, color=MUTED)
    axes.text(
        WIDTH_IN - RIGHT_IN, -FOOT_IN, _scale_words(scale), ha="right", fontsize=6.0, color=MUTED,
        style="italic",
    )
    counts = (
        (numbers.aisles, "aisle"), (numbers.zones, "zone"),
        (numbers.luminaires, "luminaire"), (numbers.sensors, "sensor"),
    )
    handles, labels = _key(ink)
    lines = -(-len(labels) // KEY_COLUMNS)
    title(axes, "Site plan: " + ", ".join(count_of(*one) for one in counts), key_lines=lines)
    legend_above(axes, handles, labels, columns=-(-len(labels) // lines))
    return figure


def _scale_words(scale: _Scale) -> str:
    """What a reader must know before measuring on the page."""
    ratio = scale.across / scale.along
    if abs(ratio - 1.0) < 0.01:
        return "to scale; the share of racks and aisle is for the eye"
    times = f"{plain(round(ratio, 2))} times as large as lengths"
    return f"widths are drawn {times}; the share of racks and aisle is for the eye"


def _scale(numbers: PlanNumbers) -> _Scale:
    """Choose scales so that the plan fills the width and no more than a page."""
    width_m = max(row.right_m - row.left_m for row in numbers.rows)
    length_m = numbers.depth_m + numbers.staging_m + numbers.behind_m
    labels_in = BELOW_IN + ABOVE_IN + 0.06 + LETTER_IN * _longest_name(numbers)
    most = max(LEAST_ROW_IN, min(MOST_ROW_IN, PAGE_IN / len(numbers.rows) - labels_in))
    row_in = min(max(PLAN_IN / width_m * length_m, LEAST_ROW_IN), most)
    along = row_in / length_m
    return _Scale(min(PLAN_IN / width_m, MOST_STRETCH * along), along, row_in)


def _slot_in(numbers: PlanNumbers, scale: _Scale) -> float:
    """Width of the narrowest aisle with its racks."""
    return min(aisle.right_m - aisle.left_m for row in numbers.rows for aisle in row.aisles) * scale.across


def _short(name: str) -> str:
    """A name that finds room; neighbours differ at the end of their names."""
    return name if len(name) <= LONGEST_NAME else f"{name[:4]}..{name[6 - LONGEST_NAME:]}"


def _names_in(numbers: PlanNumbers, scale: _Scale) -> float:
    """Height of the names above the aisles; upright where slots are narrow."""
    return 0.16 if _lies_flat(numbers, scale) else 0.06 + LETTER_IN * _longest_name(numbers)


def _longest_name(numbers: PlanNumbers) -> int:
    """Letters of the longest name."""
    return max(len(_short(aisle.name)) for row in numbers.rows for aisle in row.aisles)


def _lies_flat(numbers: PlanNumbers, scale: _Scale) -> bool:
    """Whether every name fits between its aisle's neighbours."""
    return _longest_name(numbers) * LETTER_IN <= 0.75 * _slot_in(numbers, scale)


def _box(left: float, bottom: float, right: float, top: float) -> list[Corner]:
    """A rectangle."""
    return [(left, bottom), (right, bottom), (right, top), (left, top)]


def _gather_row(
    ink: _Ink, axes: Axes, numbers: PlanNumbers, row: PlanRow, scale: _Scale, mouth_in: float
) -> None:
    """Gather one row: doors, staging, cross-aisles, aisles."""

    def across(metres: float) -> float:
        return LEFT_IN + (metres - row.left_m) * scale.across

    def along(metres: float) -> float:
        return mouth_in + metres * scale.along

    is_flat = _lies_flat(numbers, scale)
    left, right, front, back = across(row.left_m), across(row.right_m), along(0.0), along(numbers.depth_m)
    wall, top = along(-numbers.staging_m), along(numbers.depth_m + numbers.behind_m)
    if numbers.staging_m > 0.0:
        ink.staging.append(_box(left, wall, right, front))
    levels = [front, *(along(place) for place in numbers.cross_m), back]
    ink.ways += [[(left, level), (right, level)] for level in levels]
    half = 0.5 * min(0.12, 0.6 * (right - left) / max(len(row.doors), 1))
    ink.doors += [_box(across(at) - half, wall - 0.05, across(at) + half, wall) for _, at in row.doors]
    for number, at in {row.doors[0], row.doors[-1]} if row.doors else ():
        axes.text(across(at), wall - 0.08, f"door {number}", ha="center", va="top", fontsize=6.0, color=MUTED)
    for aisle in row.aisles:
        _gather_aisle(ink, aisle, across(aisle.left_m), across(aisle.right_m), along)
        if aisle.length_m < numbers.depth_m:
            centre = across(0.5 * (aisle.left_m + aisle.right_m))
            ink.stubs.append([(centre, along(aisle.length_m)), (centre, back)])
        slot = (aisle.right_m - aisle.left_m) * scale.across
        axes.text(
            across(aisle.left_m) + slot * (0.5 + FLOOR_SHARE * LAMP_AT), top + 0.05, _short(aisle.name),
            ha="center", va="bottom", fontsize=6.5, color=INK, rotation=0 if is_flat else 90,
        )
    _gather_links(ink, row, across, top)
    for area in row.areas:
        _gather_area(ink, axes, area, across, along)
    marks = [(numbers.depth_m, f"{plain(numbers.depth_m)} m"), (0.0, "0")]
    if numbers.staging_m > 0.0:
        marks.append((-numbers.staging_m, f"-{plain(numbers.staging_m)} m"))
        if front - wall > 0.16 and not row.areas:
            axes.text(0.5 * (left + right), 0.5 * (front + wall), "staging", ha="center", va="center",
                      fontsize=7.0, color=MUTED)
    for metres, text in marks:
        axes.text(left - 0.06, along(metres), text, ha="right", va="center", fontsize=6.5, color=MUTED)
    borders = [0.0, *row.aisles[0].cut_m, row.aisles[0].length_m]
    if 1 < numbers.zones_per_aisle <= MOST_ZONE_NAMES:
        for number, (near, far) in enumerate(itertools.pairwise(borders), start=1):
            axes.text(
                left - 0.06, along(0.5 * (near + far)), f".{number}", ha="right", va="center", fontsize=6.0,
                color=INK,
            )


def _gather_links(ink: _Ink, row: PlanRow, across: Any, top: float) -> None:
    """Join the aisles of one zone by a line above them; zones take turns at three heights."""
    shared: dict[str, list[float]] = {}
    for aisle in row.aisles:
        if aisle.zone:
            shared.setdefault(aisle.zone, []).append(across(0.5 * (aisle.left_m + aisle.right_m)))
    for number, places in enumerate(shared.values()):
        height = top + 0.02 + 0.015 * (number % 3)
        ink.links.append([(places[0], height), (places[-1], height)])
        ink.joints += [(place, height) for place in places]


def _gather_area(ink: _Ink, axes: Axes, area: PlanArea, across: Any, along: Any) -> None:
    """Gather one open area."""
    left, right, near, far = across(area.left_m), across(area.right_m), along(area.near_m), along(area.far_m)
    ink.areas.append(_box(left, near, right, far))
    ink.areas[-1].append(ink.areas[-1][0])
    for places, boxes in ((area.dimmed, ink.dimmed), (area.fixed, ink.fixed)):
        at = [(across(x), along(y)) for x, y in places]
        boxes += [_box(x - 0.04, y - 0.02, x + 0.04, y + 0.02) for x, y in at]
    ink.eyes += [(across(x), along(y)) for x, y in area.eyes]
    ink.dead += [(across(x), along(y)) for x, y in area.dead]
    turn = [2.0 * math.pi * step / CIRCLE_STEPS for step in range(CIRCLE_STEPS + 1)]
    for x, y in area.eyes:
        rim = [(x + area.radius_m * math.cos(angle), y + area.radius_m * math.sin(angle)) for angle in turn]
        ink.circles.append([(across(a), along(b)) for a, b in rim])
    axes.text(left + 0.03, far - 0.02, _short(area.name), ha="left", va="top", fontsize=6.0, color=INK)


def _gather_aisle(ink: _Ink, aisle: PlanAisle, left: float, right: float, along: Any) -> None:
    """Gather one aisle."""
    slot, centre = right - left, 0.5 * (left + right)
    half = 0.5 * FLOOR_SHARE * slot
    front, back = along(0.0), along(aisle.length_m)
    ink.racks += [_box(left, front, centre - half, back), _box(centre + half, front, right, back)]
    ink.floors.append(_box(centre - half, front, centre + half, back))
    ink.cuts += [[(left, along(cut)), (right, along(cut))] for cut in aisle.cut_m]
    count = len(aisle.dimmed_m) + len(aisle.fixed_m)
    thick = 0.5 * min(0.045, 0.5 * (back - front) / max(count, 1))
    lamp_from, lamp_to = centre + (2.0 * LAMP_AT - 0.53) * half, centre + (2.0 * LAMP_AT + 0.53) * half
    for places, boxes in ((aisle.dimmed_m, ink.dimmed), (aisle.fixed_m, ink.fixed)):
        boxes += [_box(lamp_from, along(at) - thick, lamp_to, along(at) + thick) for at in places.tolist()]
    eye = centre + 0.6 * half
    for sensor in aisle.sensors:
        (ink.dead if sensor.is_dead else ink.eyes).append((eye, along(sensor.at_m)))
        if not sensor.is_dead:
            ink.reaches.append([(eye, along(sensor.from_m)), (eye, along(sensor.to_m))])
    for mouth, metres in ((front, -aisle.front_m), (back, aisle.back_m)):
        if metres:
            ink.outside.append([(eye, mouth), (eye, mouth + along(metres) - along(0.0))])
    if aisle.direction > 0:
        ink.arrows.append((centre + 2.0 * LAMP_AT * half, front - 0.06))
    elif aisle.direction < 0:
        ink.arrows_down.append((centre + 2.0 * LAMP_AT * half, front - 0.06))


def _put_down(axes: Axes, ink: _Ink, numbers: PlanNumbers, scale: _Scale) -> None:
    """Put the shapes on the page, what lies underneath first."""
    fine = min(1.0, _slot_in(numbers, scale) / 0.25)
    for boxes, face, edge, width in (
        (ink.staging, STAGING, "none", 0.0), (ink.racks, GRID, PAPER, 0.4), (ink.floors, PAPER, "none", 0.0),
        (ink.dimmed, LAMP, INK, 0.35 * fine), (ink.fixed, INK, INK, 0.35 * fine),
        (ink.doors, INK, "none", 0.0),
    ):
        axes.add_collection(PolyCollection(boxes, facecolors=face, edgecolors=edge, linewidths=width))
    for lines, colour, width, dash in (
        (ink.ways, MUTED, 0.8, "--"), (ink.stubs, MUTED, 0.8, "--"), (ink.cuts, INK, 0.8, "-"),
        (ink.links, INK, 0.8, "-"), (ink.areas, INK, 0.8, "-."), (ink.circles, SETTINGS, 0.8 * fine, "-"),
        (ink.reaches, SETTINGS, 2.2 * fine, "-"), (ink.outside, SETTINGS, 1.2 * fine, ":"),
    ):
        axes.add_collection(
            LineCollection(lines, colors=colour, linewidths=width, linestyles=dash, capstyle="butt")
        )
    for points, marker, face, edge, size in (
        (ink.eyes, "o", SETTINGS, INK, 3.4 * fine), (ink.dead, "o", PAPER, INK, 3.4 * fine),
        (ink.arrows, "^", MUTED, "none", 4.0 * fine), (ink.arrows_down, "v", MUTED, "none", 4.0 * fine),
        (ink.joints, "s", INK, "none", 2.2 * fine),
    ):
        if points:
            axes.plot(
                *zip(*points, strict=True), linestyle="none", marker=marker, markersize=size,
                markerfacecolor=face, markeredgecolor=edge, markeredgewidth=0.5,
            )


def _key(ink: _Ink) -> tuple[list[Line2D | Patch], list[str]]:
    """Key of what is on the page."""
    handles: list[Line2D | Patch] = [Patch(facecolor=LAMP, edgecolor=INK, linewidth=0.4)]
    labels = ["luminaire"]
    if ink.fixed:
        handles.append(Patch(facecolor=INK))
        labels.append("never dims")
    handles += [
        Line2D([], [], color=SETTINGS, linewidth=2.2, marker="o", markersize=4.0, markeredgecolor=INK,
               markeredgewidth=0.5),
    ]
    labels.append("sensor and its reach")
    if ink.outside:
        handles.append(Line2D([], [], color=SETTINGS, linewidth=1.2, linestyle=":"))
        labels.append("seen outside")
    if ink.dead:
        handles.append(Line2D([], [], linestyle="none", marker="o", markersize=4.0, markerfacecolor=PAPER,
                              markeredgecolor=INK, markeredgewidth=0.5))
        labels.append("dead sensor")
    if ink.cuts:
        handles.append(Line2D([], [], color=INK, linewidth=0.8))
        labels.append("zone border")
    if ink.areas:
        handles.append(Line2D([], [], color=INK, linewidth=0.8, linestyle="-."))
        labels.append("open area")
    if ink.joints:
        handles.append(Line2D([], [], color=INK, linewidth=0.8, marker="s", markersize=2.5))
        labels.append("aisles of one zone")
    if ink.arrows or ink.arrows_down:
        handles.append(Line2D([], [], linestyle="none", marker="^", markersize=5.0, color=MUTED))
        labels.append("one way")
    handles.append(Patch(facecolor=GRID))
    labels.append("racks")
    handles.append(Line2D([], [], color=MUTED, linewidth=0.8, linestyle="--"))
    labels.append("cross-aisle")
    return handles, labels
