"""The film: places of trucks, frames as the light and the trucks have them, the command."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import sim
import sim.show.figures.film as figures_film
from sim.records import OpenRuns
from sim.scenario.toml import load
from sim.show.figures.style import style
from sim.show.numbers.film import film_numbers
from sim.show.numbers.motion import distance_at, place_at
from sim.show.numbers.tracks import level_at
from sim.traffic.kinematics import time_at, travel_time
from tests.command import call
from tests.show.made_results import make_result
from tests.show.test_hour import ALWAYS, lights, one_visit, with_look
from tests.study.decide_site import TEXT


@pytest.mark.parametrize("acceleration", [0.0, 0.3, 5.0])
@pytest.mark.parametrize("distance", [0.4, 7.0, 60.0])
def test_distance_is_the_inverse_of_time(distance: float, acceleration: float) -> None:
    for share in np.linspace(0.0, 1.0, 21):
        time = float(time_at(share * distance, distance, 2.0, acceleration))
        assert distance_at(time, distance, 2.0, acceleration) == pytest.approx(share * distance, abs=1e-9)
    over = float(travel_time(distance, 2.0, acceleration)) + 1.0
    assert distance_at(over, distance, 2.0, acceleration) == pytest.approx(distance, abs=1e-12)
    assert distance_at(-1.0, distance, 2.0, acceleration) == 0.0


def test_places_of_a_visit_by_hand() -> None:
    """40 m at 2 m/s with 1 m/s2: 2 m in 2 s, 20 m after 11 s, there after 22 s, back from 1082 s."""
    visits = one_visit(make_result())
    told = {1000.0: 0.0, 1002.0: 2.0, 1011.0: 20.0, 1022.0: 40.0, 1060.0: 40.0, 1084.0: 38.0, 1104.0: 0.0}
    for time, place in told.items():
        assert place_at(visits, 0, time, 72.0) == pytest.approx(place, abs=1e-9)
    assert place_at(replace(visits, moves=None), 0, 1010.0, 72.0) == 40.0


def test_frames_show_lights_and_trucks_of_their_instants() -> None:
    light = lights((0.0, 1050.0, 1.0, 1.0), (1050.0, 1060.0, 1.0, 0.3), (1060.0, 86_400.0, 0.3, 0.3))
    result = make_result()
    result = with_look(result, one_visit(result), light, ALWAYS)
    film = film_numbers(result, 990.0, 1110.0, 120)
    assert film.time_s.tolist() == [990.0 + frame for frame in range(120)]
    first = next(place for place, box in enumerate(film.boxes) if box.zone == 0)
    assert film.level[:, first] == pytest.approx(level_at(light, film.time_s))
    is_in = [1000 <= 990 + frame < 1104 for frame in range(120)]
    assert [len(dots) == 1 for dots in film.dots] == is_in
    assert film.dots[21][0].along_m == pytest.approx(20.0)
    # in zone 0 or beyond it, whose light stays up; never dim before the fade
    assert not any(dot.is_dim for dots in film.dots[:60] for dot in dots)
    one_zone = with_look(result, one_visit(result), light)
    dim = [any(dot.is_dim for dot in dots) for dots in film_numbers(one_zone, 990.0, 1110.0, 120).dots]
    assert dim == [1050 < 990 + frame < 1104 for frame in range(120)]


def test_a_truck_outside_the_aisles_by_hand() -> None:
    """From (10, 0) to (50, 0) m at 2 m/s with 1 m/s2, from 1000 s: 22 s, 2 m after 2 s; then it stands."""
    columns = [[1000.0, 1022.0], [1022.0, 1030.0], [10.0, 50.0], [0.0, 0.0], [50.0, 50.0], [0.0, 0.0]]
    runs = OpenRuns(
        np.zeros(2, dtype=np.int64), np.zeros(2, dtype=np.int64), *map(np.array, columns),
        speed=np.array([2.0, 1.0]), acceleration=np.array([1.0, 0.0]), is_moving=np.array([True, False]),
    )
    film = film_numbers(make_result(), 995.0, 1035.0, 40, runs)
    # this site has no open areas, so that nobody knows the light there
    there = {995 + frame: dot for frame, dots in enumerate(film.dots) for dot in dots if not dot.is_lit}
    assert sorted(there) == list(range(1000, 1030))
    told = {1000: 10.0, 1002: 12.0, 1011: 30.0, 1022: 50.0, 1029: 50.0}
    assert {time: there[time].across_m for time in told} == pytest.approx(told)
    assert not any(dot.is_dim or dot.along_m for dot in there.values())


@pytest.mark.slow
@pytest.mark.skipif(not figures_film.can_write_mp4(), reason="ffmpeg is not installed")
def test_the_command_writes_an_mp4(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Decoded again, its frames are those that are drawn, in their order."""
    monkeypatch.chdir(tmp_path)
    Path("site.toml").write_text(TEXT, encoding="utf-8")
    assert call("film", "site.toml", "--at", "10:00", "--frames", "6", "--out", "film.mp4") == 0
    words = ("ffmpeg", "-v", "error", "-i", "film.mp4", "-f", "rawvideo", "-pix_fmt", "rgb24", "-")
    decoded = np.frombuffer(subprocess.run(words, capture_output=True, check=True).stdout, dtype=np.uint8)
    frames = decoded.reshape(6, 540, 960, 3).astype(np.float64)
    result = sim.run(load(Path("site.toml")), replication=0)
    film = film_numbers(result, 36_000.0, 39_600.0, 6)
    with style():
        figure = figures_film.draw_frame(film, result.scenario.start_datetime, 5)
        figure.canvas.draw()
        drawn = np.asarray(figure.canvas.buffer_rgba())[..., :3]  # type: ignore[attr-defined]
    apart = np.abs(frames - drawn).mean(axis=(1, 2, 3))
    assert int(apart.argmin()) == 5
    assert apart[5] < 0.5 * apart[0]


def test_a_frame_moves_with_its_time() -> None:
    result = make_result()
    film = film_numbers(result, 36_000.0, 39_600.0, 4)
    with style():
        pictures = []
        for frame in (0, 3):
            figure = figures_film.draw_frame(film, result.scenario.start_datetime, frame)
            figure.canvas.draw()
            pictures.append(np.asarray(figure.canvas.buffer_rgba()).copy())  # type: ignore[attr-defined]
    assert pictures[0].shape == (540, 960, 4)
    assert (pictures[0] != pictures[1]).any(axis=2).mean() > 0.02


def test_the_command_writes_a_gif(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("site.toml").write_text(TEXT, encoding="utf-8")
    words = ("film", "site.toml", "--at", "10:00", "--hours", "0.5", "--frames", "6")
    assert call(*words) == 0
    assert "Wrote film.gif" in capsys.readouterr().out
    with Image.open("film.gif") as film:
        assert film.n_frames == 6  # type: ignore[attr-defined]
    assert call(*words) == 2
    assert "exists already" in capsys.readouterr().err
    assert call("film", "site.toml", "--at", "Xyz 10:00", "--force") == 2
    assert "no weekday" in capsys.readouterr().err
    assert call(*words, "--out", "film.webm") == 2
    monkeypatch.setattr(figures_film, "can_write_mp4", lambda: False)
    assert call(*words, "--out", "film.mp4") == 2
    assert "needs ffmpeg" in capsys.readouterr().err
    assert not Path("film.mp4").exists()
