"""The quick readers against slow twins: cells, names, unions, order, quality, visits, stops."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

import sim.logs.text
from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.logs.cells import Cells
from sim.logs.form import LocationWords, LogForm
from sim.logs.text import LogText
from sim.logs.values import read_numbers
from sim.logs.words import Names
from sim.replication import prepare_site
from sim.scenario.toml import load_scenario
from sim.sensing.logs import read_detections
from sim.study.from_logs.log import read_site_log
from sim.study.from_logs.traffic import LogKind, new_book, quality_table, read_log_traffic
from sim.traffic.dwell import dwell_visits
from sim.traffic.gait import gait_of
from sim.traffic.logs import read_visit_rows
from sim.traffic.move_logs import read_stops
from tests import naive_logs
from tests.logs.test_log_corpus import BAD
from tests.naive_logs import (
    naive_crew,
    naive_detections,
    naive_doubles,
    naive_late_rows,
    naive_silences,
    naive_stays,
    rows_of,
)

CORPUS = Path(__file__).parents[1] / "corpus" / "logs"
SITE = load_scenario(CORPUS / "site.toml").model_copy(update={"days": 40.0})
LAYOUT = lay_out(SITE)
PREPARED = prepare_site(SITE)
DAY_S = 86_400.0


def cells_of(texts: list[str], separator: str = ";") -> Cells:
    """One column of cells, as the reader cuts them, between two others."""
    rows = "".join(f"a{separator}{text}{separator}b\n" for text in texts)
    file = io.BytesIO(f"x{separator}y{separator}z\n{rows}".encode())

    def stop(line: int | None, message: str) -> Any:
        raise AssertionError(message)

    text = LogText(file, separator, stop)
    text.header()
    (block,) = text.blocks(3)
    assert isinstance(block.columns[1], Cells)
    return block.columns[1]


@contextmanager
def blocks_of(size: int) -> Iterator[None]:
    """Read logs in blocks of so many bytes."""
    before, sim.logs.text._BLOCK_BYTES = sim.logs.text._BLOCK_BYTES, size
    try:
        yield
    finally:
        sim.logs.text._BLOCK_BYTES = before


FIGURES = st.text(st.sampled_from("0123456789"), max_size=18)
PLAIN = st.builds("{}{}{}".format, FIGURES, st.sampled_from(["", ".", ","]), FIGURES)
ODD = st.text(st.sampled_from("0123456789.,-+eE/:\u0660x "), max_size=20)
WRITTEN = st.floats(allow_nan=False, allow_infinity=False).map(repr)


def naive_number(text: str, point: str) -> float | None:
    """What `float` makes of a text of figures, signs, e and the decimal sign, nan of nothing, else None."""
    if not text:
        return math.nan
    if set(text) - {*"0123456789+-eE", point}:
        return None
    try:
        value = float(text.replace(point, "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


@settings(max_examples=150, deadline=None)
@given(st.lists(PLAIN | ODD | WRITTEN, min_size=1, max_size=20), st.sampled_from([".", ","]))
def test_numbers_of_cells_are_those_of_texts(texts: list[str], point: str) -> None:
    """Bit for bit what `float` makes of each text by itself, and the same cells at fault."""
    values, faults = read_numbers(cells_of(texts), point)
    expected = [naive_number(text, point) for text in texts]
    assert faults == [row for row, value in enumerate(expected) if value is None]
    wanted = np.array([np.nan if value is None else value for value in expected])
    assert np.array_equal(values, wanted, equal_nan=True)
    is_number = ~np.isnan(wanted)
    assert (np.signbit(values) == np.signbit(wanted))[is_number].all(), "also of 0"


def test_numbers_of_fifteen_figures_are_the_nearest_doubles() -> None:
    """Drawn ones of every length and place of the point; `float` is correctly rounded (IEEE 754)."""
    rng = np.random.default_rng(3)
    texts = []
    for _ in range(5000):
        figures = "".join(map(str, rng.integers(0, 10, int(rng.integers(1, 19))).tolist()))
        at = int(rng.integers(1, len(figures) + 1))
        texts.append(f"{figures[:at]}.{figures[at:]}" if rng.random() < 0.8 else figures)
    values, is_odd = cells_of(texts).numbers(".")
    expected = np.array(list(map(float, texts)))
    assert (values[~is_odd] == expected[~is_odd]).all()
    assert (~is_odd).sum() > 2500, "most are read the quick way"
    spoilt = cells_of([text.replace("1", "2") for text in texts]).numbers(".")[0]
    assert (spoilt[~is_odd] != expected[~is_odd]).any(), "the check can fail"


WORDS = st.text(st.sampled_from("ab01 -\u00e4\u5009"), max_size=12) | st.sampled_from(
    ["x" * size for size in (7, 8, 9, 16, 63, 64, 65, 200)] + ["x" * 8 + "y", "x" * 63 + "y"]
)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(WORDS, max_size=8),
    st.lists(st.lists(WORDS, min_size=1, max_size=12), max_size=4),
    st.booleans(),
)
def test_names_of_cells_are_those_of_a_dictionary(
    known: list[str], columns: list[list[str]], grows: bool
) -> None:
    names, numbers = Names(() if grows else known, grows=grows), {}
    if not grows:
        for place, name in enumerate(known):
            numbers.setdefault(name, place)
    for texts in columns:
        if grows:
            expected = [numbers.setdefault(text, len(numbers)) for text in texts]
        else:
            expected = [numbers.get(text, -1) for text in texts]
        assert names.of(cells_of(texts)).tolist() == expected
    if grows:
        assert names.known == tuple(numbers)


def test_two_texts_of_one_mix_are_told_apart() -> None:
    """Words that cancel in the mix, found by solving for the second one; control: no word is compared."""
    odd, size = 0x9E37_79B9_7F4A_7C15, 1 << 64
    first = b"aaaaaaaabbbbbbbb"
    for k in range(1, 1 << 17):
        other = int.from_bytes(b"bbbbbbbb", "little") - k
        own = (int.from_bytes(b"aaaaaaaa", "little") + k * odd) % size
        raw = own.to_bytes(8, "little") + other.to_bytes(8, "little")
        if raw.isascii() and raw.decode().isprintable() and not set(';"') & set(raw.decode()):
            break
    else:
        raise AssertionError("no such text among those tried")
    texts = [first.decode(), raw.decode(), first.decode()]
    assert Names(grows=True).of(cells_of(texts)).tolist() == [0, 1, 0]
    assert Names([texts[0]]).of(cells_of(texts)).tolist() == [0, -1, 0]
    blind = Names([texts[0]])
    blind._words = Names([texts[1]])._words
    assert blind.of(cells_of(texts[1:2])).tolist() == [0], "their mix is the same"


MIDNIGHTS = st.integers(0, 3).map(lambda day: day * 864_000)
"""In tenths of a second, as times are drawn: silences of about a day are among them."""
ROWS = st.lists(
    st.tuples(
        st.integers(0, 2),
        st.one_of(st.integers(0, 2000), st.integers(0, int(40 * DAY_S) - 1), MIDNIGHTS),
        st.none() | st.integers(0, 900) | st.integers(0, int(2 * DAY_S)),
        st.integers(0, 3),
    ),
    min_size=1,
    max_size=50,
)
ORDERS = st.sampled_from(["time", "zone", "file"])
BLOCKS = st.sampled_from([1_000_000, 90])


def check_detections(
    folder: Path, rows: list[tuple[int, int, int | None, int]], order: str, block: int, sort: bool
) -> None:
    """Union, count of late rows and the whole quality table, in blocks of any size; trusted alike."""
    if order != "file":
        rows = sorted(rows, key=lambda row: row[1])
    if order == "zone":
        rows = sorted(rows, key=lambda row: row[0])
    lines = [
        f"{LAYOUT.zones[zone]},{start / 10},{'' if length is None else (start + length) / 10}"
        for zone, start, length, _ in rows
    ]
    path = folder / "log.csv"
    path.write_text("\n".join(["zone,start,end", *lines]), encoding="utf-8")
    told = rows_of(path)
    expected = naive_detections(path, LAYOUT.zones, SITE.duration_s)
    late = naive_late_rows(told, "zone", "start")
    with blocks_of(block):
        trusted = read_detections(path, SITE, LAYOUT, trusted=True)
        assert list(zip(trusted.zone, trusted.start, trusted.end, strict=True)) == expected
        if late and not sort:
            with pytest.raises(InputError, match="the only such row" if late == 1 else f"{late} such rows"):
                read_detections(path, SITE, LAYOUT)
            return
        book = new_book(PREPARED, "detections")
        found = read_detections(path, SITE, LAYOUT, sort=sort, book=book)
    assert list(zip(found.zone, found.start, found.end, strict=True)) == expected
    table = {row[0]: int(row[1]) for row in quality_table("detections", book).rows}
    spans = [(float(row["start"]), float(row["end"] or row["start"])) for row in told]
    full = [row | {"end": row["end"] or row["start"]} for row in told]
    assert table["rows read"] == len(told)
    assert table["rows earlier than the row before them"] == late
    assert table["rows that stand twice"] == naive_doubles(full, ("zone", "start", "end"))
    assert table["silences of the log longer than 24 h"] == naive_silences(spans, DAY_S)
    assert table["rows longer than 4 h"] == sum(end - start > 14_400.0 for start, end in spans)


@settings(max_examples=80, deadline=None)
@given(ROWS, ORDERS, BLOCKS, st.booleans())
def test_detections_against_the_twin(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[tuple[int, int, int | None, int]],
    order: str,
    block: int,
    sort: bool,
) -> None:
    check_detections(tmp_path_factory.mktemp("logs"), rows, order, block, sort)


VISITS = st.lists(
    st.tuples(
        st.integers(0, 2),
        st.integers(0, 40_000),
        st.integers(1, 900),
        st.sampled_from(["", "t1", "t2", "a truck of a long name"]),
        st.sampled_from(["", "anna", "ben"]),
        st.none() | st.integers(0, 120),
    ),
    min_size=1,
    max_size=40,
)


def check_visits(folder: Path, rows: list[Any], block: int, trucks: bool, people: bool, bays: bool) -> None:
    """Every column, whichever the log has, in order of entry; trusted alike."""
    head = ["aisle", "enter", "leave", *["truck"] * trucks, *["operator"] * people, *["bay_m"] * bays]
    lines = []
    for aisle, enter, length, truck, operator, bay in rows:
        cells = [LAYOUT.aisles[aisle], f"{enter / 10}", f"{(enter + length) / 10}"]
        cells += [truck] * trucks + [operator] * people
        lines.append(",".join(cells + ["" if bay is None else f"{bay / 4}"] * bays))
    path = folder / "log.csv"
    path.write_text("\n".join([",".join(head), *lines]) + "\n", encoding="utf-8")
    told = rows_of(path)
    names = naive_crew(told)
    order = sorted(range(len(told)), key=lambda row: float(told[row]["enter"]))
    with blocks_of(block):
        book = new_book(PREPARED, "visits")
        both = (
            read_visit_rows(path, SITE, LAYOUT, sort=True, book=book),
            read_visit_rows(path, SITE, LAYOUT, trusted=True),
        )
    for found in both:
        assert found.line.tolist() == [row + 2 for row in order]
        assert [LAYOUT.aisles[aisle] for aisle in found.aisle] == [told[row]["aisle"] for row in order]
        assert found.enter.tolist() == [float(told[row]["enter"]) for row in order]
        assert found.leave.tolist() == [float(told[row]["leave"]) for row in order]
        shown = ["" if truck < 0 else found.truck_names[truck] for truck in found.truck.tolist()]
        assert shown == [names[row] for row in order]
        wanted = [float(told[row].get("bay_m") or "nan") for row in order]
        np.testing.assert_array_equal(found.bay_m, wanted)
    table = {row[0]: int(row[1]) for row in quality_table("visits", book).rows}
    assert table["rows earlier than the row before them"] == naive_late_rows(told, None, "enter")
    columns = [column for column in head if column not in ("truck", "operator")]
    named = [row | {"truck": name} for row, name in zip(told, names, strict=True)]
    assert table["rows that stand twice"] == naive_doubles(named, [*columns, "truck"])


@settings(max_examples=60, deadline=None)
@given(VISITS, BLOCKS, st.booleans(), st.booleans(), st.booleans())
def test_visits_against_the_twin(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[Any],
    block: int,
    trucks: bool,
    people: bool,
    bays: bool,
) -> None:
    check_visits(tmp_path_factory.mktemp("logs"), rows, block, trucks, people, bays)


def not_united(path: Path, zones: Sequence[str], end_s: float) -> list[tuple[int, float, float]]:
    """Zone, start and end of each row by itself."""
    return sorted(
        (list(zones).index(row["zone"]), float(row["start"]), min(end_s, float(row["end"] or row["start"])))
        for row in naive_logs.rows_of(path)
    )


def with_longer_stays(path: Path) -> list[dict[str, str]]:
    """All rows of a log, each left half a second later."""
    return [row | {"leave": str(float(row["leave"]) + 0.5)} for row in naive_logs.rows_of(path)]


def with_other_bays(path: Path) -> list[dict[str, str]]:
    """All rows of a log, bays of nothing at 1 m."""
    return [
        row | {"bay_m": row["bay_m"] or "1"} if "bay_m" in row else row for row in naive_logs.rows_of(path)
    ]


SPOILT_DETECTIONS = {
    "motion is not united": ("naive_detections", not_united),
    "late in the file, not in the zone": (
        "naive_late_rows",
        lambda rows, group, time: naive_logs.naive_late_rows(rows, None, time),
    ),
    "doubles by zone and start": (
        "naive_doubles",
        lambda rows, columns: naive_logs.naive_doubles(rows, columns[:2]),
    ),
    "silences of 23 h": (
        "naive_silences",
        lambda spans, longer_s: naive_logs.naive_silences(spans, longer_s - 3600.0),
    ),
}
SPOILT_VISITS = {
    "longer stays": ("rows_of", with_longer_stays),
    "other bays": ("rows_of", with_other_bays),
    "one truck alone": ("naive_crew", lambda rows: [row.get("truck", "") and "T01" for row in rows]),
    "late behind all others": (
        "naive_late_rows",
        lambda rows, group, time: naive_logs.naive_late_rows(rows, "aisle", time),
    ),
    "doubles by aisle": ("naive_doubles", lambda rows, columns: naive_logs.naive_doubles(rows, columns[:1])),
}
SOON = settings(
    max_examples=200,
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.generate],
    report_multiple_bugs=False,
)


@pytest.mark.parametrize("spoilt", [*SPOILT_DETECTIONS, *SPOILT_VISITS])
def test_a_spoilt_twin_is_noticed(spoilt: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative control: the same drawn logs against a twin that counts otherwise."""
    is_visits = spoilt in SPOILT_VISITS
    monkeypatch.setitem(globals(), *(SPOILT_VISITS if is_visits else SPOILT_DETECTIONS)[spoilt])

    def check(drawn: tuple[Any, ...]) -> None:
        (check_visits if is_visits else check_detections)(tmp_path, *drawn)

    columns = (VISITS, BLOCKS, *[st.booleans()] * 3) if is_visits else (ROWS, ORDERS, BLOCKS, st.booleans())
    with pytest.raises((AssertionError, pytest.fail.Exception)):
        SOON(given(st.tuples(*columns))(check))()


PICKS = st.lists(
    st.tuples(
        st.integers(0, 2),
        st.integers(1, 20),
        st.integers(0, 6000),
        st.sampled_from(["", "x", "y"]),
        st.booleans(),
    ),
    min_size=1,
    max_size=40,
)


def check_stays(folder: Path, rows: list[Any], block: int, more_s: float = 0.0) -> None:
    """Visits of the dwell model and every run of them, to the last digit; the twin may handle for longer."""
    most = (20, 20, 15)  # bays of 2 m in aisles of 40, 40 and 30 m
    rows = [(aisle, min(bay, most[aisle]), *rest) for aisle, bay, *rest in rows]
    rows.sort(key=lambda row: row[2])
    lines = [
        f"{time / 4},{'DOCK' if away else f'{LAYOUT.aisles[aisle]}-{bay}'},{truck}"
        for aisle, bay, time, truck, away in rows
    ]
    path = folder / "log.csv"
    path.write_text("\n".join(["time,location,truck", *lines]), encoding="utf-8")
    form = LogForm(locations=LocationWords(bay_m=2.0, outside="DOCK"))
    picks = [
        (time / 4, aisle, (bay - 0.5) * 2.0, truck) for aisle, bay, time, truck, away in rows if not away
    ]
    with blocks_of(block):
        stops = read_stops(path, "picks", SITE, LAYOUT, form=form)
    visits, note = dwell_visits(SITE, LAYOUT, stops)
    group = SITE.trucks[0]
    expected = naive_stays(LAYOUT, gait_of(group), group.handling_mean_s + more_s, picks)
    assert note.stops == len(picks)
    got = sorted(zip(visits.enter, visits.leave, visits.aisle, strict=True))
    assert got == sorted((stay["enter"], stay["leave"], stay["aisle"]) for stay in expected)
    assert visits.moves is not None
    columns = ("start", "from_m", "to_m", "speed", "acceleration")
    runs = sorted(zip(*(getattr(visits.moves, name).tolist() for name in columns), strict=True))
    wanted = sorted((a, b, c, max(d, 1e-3), e) for stay in expected for a, b, c, d, e in stay["runs"])
    assert runs == wanted


@settings(max_examples=60, deadline=None)
@given(PICKS, BLOCKS)
def test_stays_of_picks_against_the_twin(
    tmp_path_factory: pytest.TempPathFactory, rows: list[Any], block: int
) -> None:
    check_stays(tmp_path_factory.mktemp("logs"), rows, block)


def test_stays_of_another_handling_are_told_apart(tmp_path: Path) -> None:
    """Negative control: the twin handles for a tenth of a second longer."""
    rows = [(0, 3, 4000, "x", False), (0, 9, 4100, "x", False), (1, 2, 5000, "", False)]
    check_stays(tmp_path, rows, 90)
    with pytest.raises(AssertionError):
        check_stays(tmp_path, rows, 90, more_s=0.1)


LOGS: dict[LogKind, str] = {
    "detections": "zone,start,end\nA01,0,30\nA02,5.5,9\nA01,20,60\nB 1,7,\nA01,90000,100000\n",
    "visits": "aisle,enter,leave,truck,bay_m\nA01,0,90.5,t,4\nA02,10,99,u,12.5\nA01,5000,5100,t,3\n",
    "moves": "time,from,to,truck\n50,A01-3,A02-9,t\n600.5,A02-1,A01-3,u\n90000,A01-2,B 1-1,t\n",
    "picks": "time,location,truck\n50,A01-3,t\n70,A01-4,t\n600.5,B 1-1,u\n",
}


@pytest.mark.parametrize("kind", LOGS)
def test_a_trusted_log_gives_the_same_figures(kind: LogKind, tmp_path: Path) -> None:
    """Traffic for the lights and for a fit; only the quality is not told, which is said."""
    path = tmp_path / "log.csv"
    path.write_text(LOGS[kind], encoding="utf-8")
    logs: dict[str, Any] = {kind: path}
    strict, trusted = (read_log_traffic(PREPARED, **logs, trusted=is_so) for is_so in (False, True))
    for name in ("zone", "start", "end"):
        one, other = (getattr(read.traffic.detections, name) for read in (strict, trusted))
        assert one.tobytes() == other.tobytes()
    assert len(strict.tables) == 1
    assert not trusted.tables
    assert "not looked at" in " ".join(trusted.notices)
    fits = [read_site_log(PREPARED, kind, path, trusted=is_so) for is_so in (False, True)]
    for name in ("events", "exposure_h", "stand_s", "depth"):
        assert getattr(fits[0], name).tobytes() == getattr(fits[1], name).tobytes()
    # negative control: another log is other figures
    path.write_text(LOGS[kind].replace("A01", "A02", 1), encoding="utf-8")
    assert read_site_log(PREPARED, kind, path).events.tobytes() != fits[0].events.tobytes()


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_a_faulty_log_that_is_trusted_ends_with_words(path: Path) -> None:
    """Never anything but an InputError; only what sorting mends is let through."""
    kind: Any = path.stem.partition("-")[0]
    read = partial(read_site_log, prepare_site(load_scenario(CORPUS / "site.toml")), kind, path, trusted=True)
    if "unsorted" in path.stem:
        assert read().events.sum() > 0
    else:
        with pytest.raises(InputError):
            read()
