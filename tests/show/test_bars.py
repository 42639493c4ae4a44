"""Pictures in text: bars as long as their figures, never wider than the terminal, only where there is one.

Lengths are counted in the printed text and compared with figures that are computed here: those of a result
made by hand, or of the frames that a result hands out.  A picture with two bars exchanged must fail.
"""

from __future__ import annotations

import io
import math
import os
from collections.abc import Iterable, Sequence
from functools import cache, partial

import numpy as np
import pytest

from sim.commands.shared import draw
from sim.results import Result
from sim.show.numbers.bars import PlanBar, dim_aisles, hour_loads
from sim.show.numbers.decide import Mark, TradeOff
from sim.show.words.amounts import WIDTH
from sim.show.words.bars import ASCII, BLOCKS, Ink, bar, columns, front_lines, plan_lines, run_picture
from sim.study.replications.replicate import run
from sim.terminal import columns_for_pictures, open_streams
from tests.show.made_results import make_result, make_scenario
from tests.study.decide_site import small_site

WIDTHS = (60, 80, 200)
INKS = (BLOCKS, ASCII)


def steps_of(text: str, parts: str) -> int:
    """How long a drawn bar is, in steps: a whole cell has as many as there are parts."""
    return sum(parts.index(letter) + 1 for letter in text)


def check_lengths(drawn: Sequence[str], values: Iterable[float], cells: int, parts: str) -> None:
    """Every bar is as long as its value, the greatest being `cells` long, to half a step."""
    values = list(values)
    for text, value in zip(drawn, values, strict=True):
        wanted = value / max(values) * cells * len(parts)
        assert abs(steps_of(text, parts) - wanted) <= 0.5 + 1e-9, (text, value)


@pytest.mark.parametrize("ink", INKS)
@pytest.mark.parametrize("width", [1, 7, 40])
def test_a_bar_is_as_long_as_its_share(ink: Ink, width: int) -> None:
    for share in np.linspace(0.0, 1.0, 331).tolist():
        text = bar(share, width, ink)
        wanted = share * width * len(ink.across)
        assert abs(steps_of(text, ink.across) - wanted) <= 0.5 + 1e-9
        assert len(text) <= width
    assert bar(math.nan, width, ink) == bar(-0.3, width, ink) == ""
    assert bar(3.0, width, ink) == ink.across[-1] * width


@pytest.mark.parametrize("ink", INKS)
def test_columns_are_as_high_as_their_shares(ink: Ink) -> None:
    shares = np.linspace(0.0, 1.0, 97).tolist()
    rows = columns(shares, 4, ink)
    for number, share in enumerate(shares):
        column = [row[2 * number] for row in rows]
        assert column == [row[2 * number + 1] for row in rows]
        stripped = "".join(column).lstrip(" ")
        assert " " not in stripped, "a column has no hole"
        assert abs(steps_of(stripped, ink.up) - share * 4 * len(ink.up)) <= 0.5 + 1e-9


@cache
def real_result() -> Result:
    """Two replications of a small site that begin at a quarter past an hour."""
    start = "start = 2027-03-01 -> start = 2027-03-01T00:15:00"
    return run(small_site(start=start, days="days = 1 -> days = 1.4"))


def hour_columns(lines: Sequence[str], ink: Ink) -> list[str]:
    """The column of each hour of the day, read off a picture."""
    rows = [line.partition(ink.axis)[2].ljust(48) for line in lines if ink.axis in line][:4]
    assert len(rows) == 4
    return ["".join(row[2 * hour] for row in rows).strip() for hour in range(24)]


def check_hours(drawn: Sequence[str], kw: Sequence[float], top: float, ink: Ink) -> None:
    """Each hour's column is as high as its load over always on."""
    for text, value in zip(drawn, kw, strict=True):
        assert abs(steps_of(text, ink.up) - value / top * 4 * len(ink.up)) <= 0.5 + 1e-9


@pytest.mark.parametrize("ink", INKS)
def test_hours_of_the_day_by_hand(ink: Ink) -> None:
    """Quarter-hours of the made result follow a sine, 3 kW in all: hour h has its four quarters' mean."""
    result = make_result(make_scenario())
    quarter = np.arange(96)
    kw = (0.5 * 3.0 * (1.0 + 0.5 * np.sin(quarter * 2.0 * np.pi / 96.0))).reshape(24, 4).mean(axis=1)
    drawn = hour_columns(run_picture(result, 80, ink), ink)
    check_hours(drawn, kw.tolist(), 3.0, ink)
    with pytest.raises(AssertionError):
        check_hours([*drawn[12:], *drawn[:12]], kw.tolist(), 3.0, ink)


def test_hours_of_a_run_that_begins_within_one() -> None:
    """Energy and length of every quarter-hour, gathered one by one."""
    result = real_result()
    start_h = 0.25
    energy, hours = np.zeros(24), np.zeros(24)
    load = np.mean([outcome.quarter_kw for outcome in result.outcomes], axis=0)
    end_h = result.scenario.days * 24.0
    for number, kw in enumerate(load.tolist()):
        length = min(0.25, end_h - 0.25 * number)
        clock = int(start_h + 0.25 * number) % 24
        energy[clock] += kw * 0.25
        hours[clock] += length
    found = hour_loads(result)
    np.testing.assert_allclose(found.mean_kw, energy / hours)
    always = result.headline["always_on_kwh"].mean
    assert always is not None
    assert found.always_on_kw == pytest.approx(always / end_h)
    assert float((found.mean_kw * hours).sum()) == pytest.approx(result.headline["energy_kwh"].mean)


def test_a_short_run_leaves_hours_blank() -> None:
    result = make_result(make_scenario(days=0.25))
    drawn = hour_columns(run_picture(result, 80, BLOCKS), BLOCKS)
    assert all(drawn[:6])
    assert not any(drawn[6:])


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("ink", INKS)
def test_the_worst_aisles(ink: Ink, width: int) -> None:
    result = real_result()
    frame = result.zones_frame().sort_values("dim_truck_s", ascending=False)
    lines = run_picture(result, width, ink)
    place = next(row for row, line in enumerate(lines) if line.startswith("Truck time in dim light"))
    shown = lines[place + 1 :]
    assert [line.split()[0] for line in shown] == frame["aisle"].tolist()
    drawn = [line.split()[1] for line in shown]
    check_lengths(drawn, frame["dim_truck_s"].tolist(), len(drawn[0]), ink.across)
    assert len(drawn[0]) > width // 4 or width > WIDTH
    with pytest.raises(AssertionError):
        check_lengths(drawn[::-1], frame["dim_truck_s"].tolist(), len(drawn[0]), ink.across)
    for line, per_visit in zip(shown, frame["dim_truck_s"] / frame["visits"], strict=True):
        assert float(line.split()[-4]) == pytest.approx(per_visit, rel=5e-3)  # three figures are shown


def test_no_bars_of_what_is_not_known() -> None:
    unknown = make_result(make_scenario(), with_visits=False)
    assert dim_aisles(unknown) is None
    assert not any("dim light" in line for line in run_picture(unknown, 80, BLOCKS))
    few = dim_aisles(make_result(make_scenario()))
    assert few is not None
    assert few.names == ("A03", "A02"), "an aisle without dim time is not among the worst"
    assert few.dim_s.tolist() == [200.0, 100.0]


def trade_off(count: int = 40) -> TradeOff:
    """Settings at random, the scenario among them."""
    rng = np.random.default_rng(3)
    energy, dim = 10.0 + 50.0 * rng.random(count), 1e4 * rng.random(count)
    front = np.array([not any((energy < e) & (dim < d)) for e, d in zip(energy, dim, strict=True)])
    return TradeOff(energy, dim, dim, front, (), (), (Mark("as it stands", 35.0, 4e3),))


@pytest.mark.parametrize("width", WIDTHS[:2])
@pytest.mark.parametrize("ink", INKS)
def test_a_point_lies_in_the_cell_nearest_to_it(ink: Ink, width: int) -> None:
    points = trade_off()
    lines = front_lines(points, width, ink)
    rows = [line.partition(ink.axis)[2] for line in lines if ink.axis in line]
    room = width - 4 - max(4, *(len(line.partition(ink.axis)[0]) - 3 for line in lines if ink.axis in line))

    def cell(x: float, y: float) -> str:
        across = (x - points.energy_kwh.min()) / np.ptp(points.energy_kwh) * (room - 1)
        up = (y - points.dim_truck_s.min()) / np.ptp(points.dim_truck_s) * (len(rows) - 1)
        row = rows[len(rows) - 1 - math.floor(up + 0.5)].ljust(room)
        return row[math.floor(across + 0.5)]

    def check(front: np.ndarray) -> None:
        for x, y, is_front in zip(points.energy_kwh, points.dim_truck_s, front, strict=True):
            over = (ink.front, ink.current) if is_front else (ink.other, ink.front, ink.current)
            assert cell(x, y) in over

    check(points.is_front)
    with pytest.raises(AssertionError):
        check(~points.is_front)
    assert cell(35.0, 4e3) == ink.current
    marks = sum(row.count(letter) for row in rows for letter in (ink.front, ink.other, ink.current))
    assert marks <= len(points.energy_kwh) + 1
    assert max(map(len, lines)) <= width
    ones = np.ones(3)
    alike = TradeOff(ones, ones, ones, ones > 0.0, (), (), (Mark("as it stands", 1.0, 1.0),))
    assert front_lines(alike, width, ink) == []


@pytest.mark.parametrize("width", WIDTHS[:2])
@pytest.mark.parametrize("ink", INKS)
def test_plans_have_two_bars(ink: Ink, width: int) -> None:
    plans = (
        PlanBar("as the scenario stands", 0.30, 2.0),
        PlanBar("one setting", 0.45, 1.0),
        PlanBar("by aisle", 0.60, 0.5),
    )
    lines = plan_lines(plans, width, ink)
    shown = [line.removeprefix(f"  {one.label}").split() for line, one in zip(lines[2:], plans, strict=True)]
    cells = len(shown[2][0])
    assert cells >= 6
    check_lengths([words[0] for words in shown], [0.30, 0.45, 0.60], cells, ink.across)
    check_lengths([words[3] for words in shown], [2.0, 1.0, 0.5], cells, ink.across)
    with pytest.raises(AssertionError):
        check_lengths([words[3] for words in shown], [0.5, 1.0, 2.0], cells, ink.across)
    assert [float(words[1]) for words in shown] == [30.0, 45.0, 60.0]
    assert max(map(len, lines)) <= width
    assert plan_lines([PlanBar("x", 0.0, 0.0), PlanBar("y", -0.1, 0.0)], width, ink)[2].split() == [
        "x", "0", "%", "0", "s",
    ]


class Terminal(io.TextIOWrapper):
    """A stream that says it is a terminal, or that it is none."""

    def __init__(self, encoding: str, is_terminal: bool = True) -> None:
        super().__init__(io.BytesIO(), encoding=encoding, write_through=True)
        self.is_terminal = is_terminal

    def isatty(self) -> bool:
        return self.is_terminal

    def text(self) -> str:
        """What was written, in an encoding that has all letters of it."""
        data: bytes = self.buffer.getvalue()  # type: ignore[attr-defined]
        return data.decode(self.encoding)


def shown_on(stream: Terminal, columns_there: int, monkeypatch: pytest.MonkeyPatch) -> str:
    """What a picture looks like on a terminal."""
    monkeypatch.setattr("sys.stdout", stream)
    monkeypatch.setenv("COLUMNS", str(columns_there))
    draw(partial(run_picture, real_result()))
    return stream.text()


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "ascii"])
def test_on_terminals_of_every_kind(width: int, encoding: str, monkeypatch: pytest.MonkeyPatch) -> None:
    text = shown_on(Terminal(encoding), width, monkeypatch)
    assert max(map(len, text.splitlines())) <= min(width, WIDTH)
    assert ("█" in text) == (encoding == "utf-8")
    assert ("#" in text) == (encoding != "utf-8")
    assert "\x1b" not in text, "no colour, whatever NO_COLOR says"


def test_nothing_is_drawn_where_nobody_would_see_it(monkeypatch: pytest.MonkeyPatch) -> None:
    assert shown_on(Terminal("utf-8", is_terminal=False), 80, monkeypatch) == ""
    assert shown_on(Terminal("utf-8"), 59, monkeypatch) == ""
    assert shown_on(Terminal("utf-8"), 60, monkeypatch) != ""
    monkeypatch.setattr("sys.stdout", None)
    open_streams()
    assert columns_for_pictures() is None


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are POSIX")
@pytest.mark.parametrize("more", [(), ("--json",)])
def test_a_run_on_a_real_terminal(more: tuple[str, ...], tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    import pty
    import subprocess

    from tests.hardening.test_environment import START, TINY, surroundings

    (tmp_path / "tiny.toml").write_text(TINY, encoding="utf-8")
    ours, theirs = pty.openpty()
    words = [*START, "run", "tiny.toml", "--out", "here", *more]
    places = surroundings(COLUMNS="72", PYTHONUTF8="1", NO_COLOR="1")
    done = subprocess.Popen(words, cwd=tmp_path, env=places, stdout=theirs, stderr=subprocess.DEVNULL)
    os.close(theirs)
    data = b""
    while True:
        try:
            piece = os.read(ours, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        data += piece
    assert done.wait() == 0
    text = data.decode("utf-8")
    assert ("Mean load by hour of the day" in text) == (not more)
    assert "\x1b" not in text
