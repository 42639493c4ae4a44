"""Pictures: driven by their numbers, and the same bytes in every process."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.patches import StepPatch

from sim.show.figures.draw import draw_figures, draw_pictures
from sim.show.figures.hour import draw_hour
from sim.show.figures.run import draw_aisles, draw_power, draw_week
from sim.show.figures.style import DIM, LIGHT_RAMP, SCHEDULE, SETTINGS, style, time_ticks
from sim.show.numbers.hour import hour_numbers
from sim.show.numbers.run import aisle_numbers, power_numbers, week_numbers
from tests.show.made_results import make_result, make_scenario, without_bays

NAMES = ["plan", "power", "hour", "gaps", "aisles", "week"]
HASH = """
import hashlib
from sim.show.figures.draw import draw_pictures
from tests.show.made_results import make_result
for picture in draw_pictures(make_result(per_hour=6.0)):
    print(hashlib.sha256(picture.svg + picture.png).hexdigest())
"""


def hashes_elsewhere(hash_seed: str, **environment: str) -> list[str]:
    """Digests of the pictures as another process draws them."""
    done = subprocess.run(
        [sys.executable, "-c", HASH], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONHASHSEED": hash_seed, **environment},
    )
    return done.stdout.split()


def test_bytes_are_the_same_in_every_process():
    drawn = draw_pictures(make_result(per_hour=6.0))
    here = [hashlib.sha256(picture.svg + picture.png).hexdigest() for picture in drawn]
    assert hashes_elsewhere("0") == here
    assert hashes_elsewhere("1", MPLBACKEND="svg") == here


def test_the_users_own_style_stays_away(tmp_path):
    (tmp_path / "matplotlibrc").write_text("font.size: 20\nlines.linewidth: 9\naxes.facecolor: yellow\n")
    plain = hashes_elsewhere("0")
    assert hashes_elsewhere("0", MATPLOTLIBRC=str(tmp_path / "matplotlibrc")) == plain


def test_other_numbers_give_other_bytes():
    one = draw_pictures(make_result())
    other = draw_pictures(make_result(per_hour=5.0, factors=(0.8, 1.1)))
    differ = {first.name for first, second in zip(one, other, strict=True) if first.svg != second.svg}
    assert differ == {"power", "hour", "gaps", "week"}  # not the site, nor the aisles' hours


def test_no_global_figure_is_left():
    code = HASH + "import sys\nraise SystemExit('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_files(tmp_path):
    paths = draw_figures(make_result(per_hour=3.0), tmp_path)
    wanted = [f"{name}.{ending}" for name in NAMES for ending in ("svg", "png")]
    assert [path.name for path in paths] == wanted
    for path in paths:
        content = path.read_bytes()
        if path.suffix == ".png":
            assert content.startswith(b"\x89PNG")
        else:
            ElementTree.fromstring(content)
            assert b"<text" in content  # text stays text
            assert not re.search(rb"<dc:date>|20\d\d-\d\d-\d\dT", content)


def steps_of(figure):
    """Step lines of a figure by colour: (values, edges)."""
    (axes, *_) = figure.axes
    return {
        to_hex(patch.get_edgecolor()): patch.get_data()
        for patch in axes.patches
        if isinstance(patch, StepPatch) and not patch.get_fill()
    }


def test_the_power_picture_shows_its_numbers():
    numbers = power_numbers(make_result())
    with style():
        lines = steps_of(draw_power(numbers, make_scenario().start_datetime))
    assert np.array_equal(lines[SETTINGS].values, numbers.mean_kw)
    assert np.array_equal(lines[SETTINGS].edges, numbers.edge_s)
    assert np.array_equal(lines[SCHEDULE].values, numbers.schedule_kw)


def test_the_aisles_picture_shows_its_numbers():
    numbers = aisle_numbers(make_result())
    with style():
        (axes, *_) = draw_aisles(numbers).axes
    widths = np.array([patch.get_width() for patch in axes.patches]).reshape(4, 3)
    assert widths[:, 0] == pytest.approx(
        [100 * part[0] for part in (numbers.in_use, numbers.lit_empty, numbers.low, numbers.off)]
    )


def test_the_week_picture_shows_its_numbers():
    numbers = week_numbers(make_result(make_scenario(days=7.0)))
    with style():
        (axes, *_) = draw_week(numbers).axes
    assert np.array_equal(axes.collections[0].get_array().filled(np.nan), numbers.share)
    assert axes.texts[30].get_text() == f"{100 * numbers.share[1, 6]:.0f}"


def test_the_hour_picture_shows_dim_trucks():
    numbers = hour_numbers(make_result())
    strip = numbers.strips[0]
    track = replace(strip.tracks[0], is_dim=np.ones_like(strip.tracks[0].is_dim))
    dark = replace(numbers, strips=(replace(strip, tracks=(track,)),))

    def colours(figure):
        return {to_hex(line) for item in figure.axes[0].collections for line in item.get_edgecolor()}

    with style():
        assert DIM in colours(draw_hour(dark, make_scenario().start_datetime))
        light = replace(track, is_dim=np.zeros_like(track.is_dim))
        bright = replace(dark, strips=(replace(strip, tracks=(light,)),))
        assert DIM not in colours(draw_hour(bright, make_scenario().start_datetime))


def test_light_reads_the_same_in_grey():
    """The ramp's luminance rises all the way (Rec. 709 weights), so that a copy in grey keeps its order."""
    grey = LIGHT_RAMP(np.linspace(0.0, 1.0, 200))[:, :3] @ np.array([0.2126, 0.7152, 0.0722])
    assert (np.diff(grey) > 0.0).all()
    assert grey[-1] - grey[0] > 0.5


FLOOR_1 = {"aisles": 1, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0}
FLOOR_200, FLOOR_CUT = {**FLOOR_1, "aisles": 200}, {**FLOOR_1, "zones_per_aisle": 12}
SHAPES = {
    "an hour": lambda: make_result(make_scenario(days=1 / 24, start="2027-03-03T21:20"), factors=(1.0,)),
    "minutes": lambda: make_result(make_scenario(days=1 / 96, start="2027-03-03T21:21"), factors=(1.0,)),
    "a year": lambda: make_result(make_scenario(days=365.0), per_hour=1.0),
    "one aisle": lambda: make_result(make_scenario(floor=FLOOR_1)),
    "200 aisles": lambda: make_result(make_scenario(floor=FLOOR_200)),
    "motion only": lambda: make_result(with_visits=False, factors=(1.0,)),
    "no moves": lambda: make_result(with_moves=False),
    "no places": lambda: without_bays(make_result()),
    "cut aisles": lambda: make_result(make_scenario(floor=FLOOR_CUT)),
}


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
@pytest.mark.filterwarnings("error")
def test_runs_of_every_shape_are_drawn(shape):
    assert [picture.name for picture in draw_pictures(shape())] == NAMES


@pytest.mark.parametrize("days", [1 / 96, 1 / 24, 0.3, 1.0, 2.0, 7.0, 14.0, 31.0, 90.0, 365.0, 3700.0])
def test_ticks_of_time_are_few_and_inside(days):
    start = make_scenario(start="2027-03-03T21:20").start_datetime
    places, labels = time_ticks(start, days * 86_400.0)
    assert 1 <= len(places) == len(labels) <= 32
    assert places[0] >= 0.0
    assert places[-1] <= days * 86_400.0
