"""A first scenario: it loads whatever is answered, says how far to trust it, and the floor does its work."""

from __future__ import annotations

import itertools
import re
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sim.errors import InputError
from sim.replication import prepare_site, simulate_traffic
from sim.scenario.checks.contradictions import find_notices
from sim.scenario.first_load import BUSY_SHARE, FULL_SHARE, busy_trucks, load_of_busiest_aisle, strains
from sim.scenario.new_site import write_site
from sim.scenario.questions import QUESTIONS, AisleRow, Question, fill_in
from sim.scenario.schema import Scenario
from sim.scenario.toml import parse_scenario
from sim.scenario.truck_types import TYPE_VALUES
from sim.scenario.working_hours import hourly_work, read_hours, timetable_rows
from sim.units import WEEKDAYS

BY_KEY = {question.key: question for question in QUESTIONS}
TOML_KEY = {
    "aisles": "aisles", "aisle_length_m": "aisle_length_m", "per_aisle": "per_aisle", "full_w": "full_w",
    "sensors": "at", "hold_s": "hold_s", "truck_type": "type", "trucks": "count",
    "busiest_share": "top_20pct_share", "unoccupied_level": "unoccupied_level", "timeout_s": "timeout_s",
    "occupied_level": "occupied_level", "dock_doors": "dock_doors",
}
"""Answers that become one key, and the key."""


@st.composite
def shift_texts(draw: st.DrawFn) -> str:
    """Any shifts that a person may write."""
    groups = []
    for _ in range(draw(st.integers(1, 3))):
        first = draw(st.sampled_from(WEEKDAYS))
        days = draw(st.sampled_from([first, f"{first}-{draw(st.sampled_from(WEEKDAYS))}", f"{first},Wed"]))
        spans = []
        for _ in range(draw(st.integers(1, 2))):
            start, end = draw(st.integers(0, 1439)), draw(st.integers(0, 1439))
            assume(start != end)
            spans.append(f"{start // 60:02d}:{start % 60:02d}-{end // 60:02d}:{end % 60:02d}")
        groups.append(f"{days} {' '.join(spans)}")
    return "; ".join(groups)


def answers_to(question: Question) -> st.SearchStrategy[Any]:
    """Any allowed answer."""
    if question.key == "title":
        return st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=200).filter(
            lambda text: text[0] not in "=+-@" and text.isprintable() and text.strip() == text
        )
    if question.key == "shifts":
        return shift_texts()
    if question.choices:
        return st.sampled_from(question.choices)
    assert question.least is not None
    assert question.most is not None
    most = min(question.most, 60) if question.key in ("aisles", "per_aisle", "trucks") else question.most
    if question.is_whole:
        return st.integers(int(question.least), int(most))
    return st.floats(question.least, most)


@st.composite
def aisle_rows(draw: st.DrawFn) -> tuple[AisleRow, ...]:
    """Any list of aisles."""
    names = draw(st.lists(st.from_regex(r"[A-Za-z0-9][A-Za-z0-9 _.-]{0,8}", fullmatch=True), min_size=1,
                          max_size=30, unique=True))
    counts = st.integers(1, 40) if draw(st.booleans()) else st.none()
    watts = st.floats(1.0, 5000.0) if draw(st.booleans()) else st.none()
    words = st.text(st.characters(exclude_categories=["C", "Z"]), max_size=5)
    lengths = st.floats(3.0, 1000.0)
    return tuple(
        AisleRow(name, draw(lengths), draw(counts), draw(watts), draw(words), draw(words)) for name in names
    )


@st.composite
def all_given(draw: st.DrawFn) -> dict[str, Any]:
    """Some or all answers, that do not contradict each other."""
    given = {
        question.key: draw(answers_to(question)) for question in QUESTIONS if draw(st.integers(0, 2)) > 0
    }
    for key in ("unoccupied_level", "closed_level"):
        assume(given.get(key, 0.0) <= given.get("occupied_level", 1.0))
    return given


def written(given: dict[str, Any], rows: tuple[AisleRow, ...] = ()) -> tuple[str, Scenario]:
    """The file and what it loads as."""
    text = write_site(fill_in(given, rows))
    return text, parse_scenario(text, "new.toml")


@settings(max_examples=150, deadline=None)
@given(given=all_given())
def test_whatever_is_answered_the_file_loads_without_a_fault(given: dict[str, Any]) -> None:
    text, scenario = written(given)
    find_notices(scenario)
    assert scenario.title == given.get("title", "My site")
    assert len(scenario.aisle_names) == given.get("aisles", 20)
    working = scenario.lighting.settings["working"]
    assert working.timeout_s == given.get("timeout_s", 600.0)
    assert scenario.sensors.hold_s == given.get("hold_s", 60.0)
    assert text.isascii() or not scenario.title.isascii()
    long = [line for line in text.splitlines() if len(line) > 128 and not line.startswith("title = ")]
    assert long == []


@settings(max_examples=80, deadline=None)
@given(rows=aisle_rows(), given=all_given())
def test_a_list_of_aisles_comes_through_whole(rows: tuple[AisleRow, ...], given: dict[str, Any]) -> None:
    listed = {"aisles", "aisle_length_m"} | ({"per_aisle"} if rows[0].luminaires else set())
    listed |= {"full_w"} if rows[0].watts else set()
    given = {key: value for key, value in given.items() if key not in listed}
    _, scenario = written(given, rows)
    assert scenario.aisle_names == tuple(row.name for row in rows)
    assert scenario.aisle_lengths_m == tuple(row.length_m for row in rows)
    for row in rows:
        lamps = scenario.luminaires_of(row.name)
        usual = given.get("per_aisle", min(2000, max(1, round(row.length_m / 6.0))))
        assert lamps.per_aisle == (row.luminaires or usual)
        assert lamps.full_w == (row.watts or given.get("full_w", 100.0))


def test_long_names_with_blanks_are_not_broken() -> None:
    rows = tuple(AisleRow(f"Reserve hall north {number}", 40.0 + number) for number in range(30))
    text, scenario = written({}, rows)
    assert scenario.aisle_names == tuple(row.name for row in rows)
    assert max(map(len, text.splitlines())) <= 128


def test_a_list_keeps_circuits_as_comments() -> None:
    rows = (AisleRow("G1", 60.0, circuit="DB1/3", zone="Z1"), AisleRow("G2", 60.0, zone="Z2"))
    text, scenario = written({}, rows)
    said = "of each aisle from the list of aisles; no figure uses it"
    assert f"# The circuit {said}: G1 DB1/3, G2 -\n" in text
    assert scenario.group is None
    assert "Z1" not in text


def test_aisles_of_one_zone_in_a_list_become_a_group() -> None:
    rows = (AisleRow("G1", 60.0, zone="Z1"), AisleRow("G2", 70.0, zone="Z1"), AisleRow("G3", 60.0))
    text, scenario = written({}, rows)
    assert scenario.places == (("Z1", ("G1", "G2")), ("G3", ("G3",)))
    assert "no figure uses it" not in text


def test_several_shared_zones_are_told_once() -> None:
    """A group for each; what groups are stands before the first one alone."""
    zones = {"G1": "Z1", "G2": "Z2", "G3": "Z1", "G4": "Z2", "G5": ""}
    text, scenario = written({}, tuple(AisleRow(name, 60.0, zone=zone) for name, zone in zones.items()))
    assert scenario.places == (("Z1", ("G1", "G3")), ("Z2", ("G2", "G4")), ("G5", ("G5",)))
    assert (text.count("[[group]]"), text.count("Aisles that share one control zone")) == (2, 1)


@pytest.mark.parametrize("zone, watts", [("Z1", 90.0), ("Zone: 1", 80.0), ("G3", 80.0)])
def test_zones_that_no_group_can_hold_become_comments(zone: str, watts: float) -> None:
    rows = (
        AisleRow("G1", 60.0, watts=80.0, zone=zone),
        AisleRow("G2", 60.0, watts=watts, zone=zone),
        AisleRow("G3", 60.0, watts=80.0),
    )
    text, scenario = written({}, rows)
    assert scenario.group is None
    said = "The control zone of each aisle from the list of aisles; no figure uses it"
    assert f"# {said}: G1 {zone}, G2 {zone}, G3 -\n" in text


def test_luminaires_that_differ_become_overrides() -> None:
    rows = tuple(
        AisleRow(f"G{number}", 60.0, count, watts)
        for number, (count, watts) in enumerate(
            [(10, 100.0), (10, 100.0), (12, 100.0), (10, 150.0), (12, 100.0)]
        )
    )
    text, scenario = written({}, rows)
    assert (scenario.luminaires.per_aisle, scenario.luminaires.full_w) == (10, 100.0)
    stated = [(one.aisles, one.per_aisle, one.full_w) for one in scenario.override]
    assert stated == [(("G2", "G4"), 12, None), (("G3",), None, 150.0)]
    assert text.count("[[override]]") == 2


def comment_of(text: str, key: str) -> str:
    """The comment behind a key where it stands first, or the one above it."""
    lines = text.splitlines()
    number = next(number for number, line in enumerate(lines) if line.startswith(f"{key} = "))
    if "# " in lines[number]:
        return lines[number].partition("# ")[2]
    above = itertools.takewhile(lambda line: line.startswith("# "), reversed(lines[:number]))
    return " ".join(line.removeprefix("# ") for line in reversed(list(above)))


@settings(max_examples=60, deadline=None)
@given(given=all_given())
def test_what_nobody_answered_is_marked(given: dict[str, Any]) -> None:
    text, _ = written(given)
    assert "ASSUMED marks what nobody answered: common practice,\n# no source" in text
    for key, name in TOML_KEY.items():
        comment = comment_of(text, name)
        assert ("as answered" in comment) is (key in given), name
        assert ("ASSUMED" in comment) is (key not in given), name


def test_every_value_that_no_question_covers_is_marked_and_stated() -> None:
    text, scenario = written({question.key: question.default for question in QUESTIONS if question.default})
    for key in (
        "aisle_pitch_m", "zones_per_aisle", "aisle_capacity", "staging_depth_m", "tiers", "tier_height_m",
        "standby_w", "fixed_on", "range_m", "approach_m", "passing_trigger", "passing_range_m",
        "still_rate_per_min", "miss", "latency_s", "fade_up_s", "fade_down_s", "speed_laden_m_per_s",
        "acceleration_m_per_s2", "handling_mean_s", "handling_cv", "lift_m_per_s",
    ):
        assert "ASSUMED" in comment_of(text, key), key
    assert "hold_s" in scenario.sensors.model_fields_set
    assert "passing_trigger" in scenario.sensors.model_fields_set
    assert find_notices(scenario) == ()
    for key in ("hold_s", "passing_trigger", "fixed_on", "aisle_capacity", "top_20pct_share"):
        assert "ASK" in comment_of(text, key)


@pytest.mark.parametrize("truck_type", sorted(TYPE_VALUES.keys() - {"walker"}))
def test_values_of_a_truck_type_carry_their_source_and_trust(truck_type: str) -> None:
    text, scenario = written({"truck_type": truck_type})
    (trucks,) = scenario.trucks
    for key, usual in TYPE_VALUES[truck_type].items():
        if key in ("lifts_while_travelling", "lift_height_m"):
            continue
        assert getattr(trucks, key) == usual.value
        assert comment_of(text, key).endswith(f"({usual.source}; trust {usual.trust})")


def test_a_site_that_never_closes_has_one_set_of_settings() -> None:
    _, scenario = written({"shifts": "Mon-Sun 00:00-24:00"})
    assert set(scenario.lighting.settings) == {"working"}
    assert find_notices(scenario) == ()


def test_the_largest_list() -> None:
    _, scenario = written({}, tuple(AisleRow(f"G{number}", 60.0) for number in range(2000)))
    assert len(scenario.aisle_names) == 2000


@pytest.mark.parametrize("key", ["unoccupied_level", "closed_level"])
def test_levels_that_contradict_each_other_are_told_by_their_options(key: str) -> None:
    option = BY_KEY[key].option
    with pytest.raises(InputError, match=f"{option}: 0.9 is above --occupied-level 0.5"):
        fill_in({key: 0.9, "occupied_level": 0.5})


@pytest.mark.parametrize(
    ("key", "text", "words"),
    [
        ("trucks", "3,5", "decimals with a point"),
        ("trucks", "3.5", "a whole number from 1 to 1000"),
        ("trucks", "many", "not a number"),
        ("trucks", "", "nothing is not a number"),
        ("hold_s", "nan", "not a number"),
        ("hold_s", "1e400", "a number from 0 to 3600 [s]"),
        ("hold_s", "-1", "from 0 to 3600"),
        ("unoccupied_level", "30", "a number from 0 to 1"),
        ("sensors", "end", 'did you mean "ends"?'),
        ("truck_type", "reach truck", 'did you mean "reach"?'),
        ("title", "=1+1", "does not begin with ="),
        ("title", "a\x1b[31m", "no title"),
        ("title", "", "no title"),
        ("shifts", "", "no hours"),
        ("shifts", "Mon-Fri", "no hours"),
        ("shifts", "06:00-14:00", "no weekdays"),
        ("shifts", "Mo-Fr 06:00-14:00", "no weekday"),
        ("shifts", "Mon 6-14", "no span of hours"),
        ("shifts", "Mon 06:00-25:00", "no span of hours"),
        ("shifts", "Mon 06:00-06:00", "a whole day is 00:00-24:00"),
        ("shifts", "Mon 06:00-14:00 Sat 06:00-12:00", "set groups of days apart by ;"),
    ],
)
def test_answers_that_are_none(key: str, text: str, words: str) -> None:
    with pytest.raises(ValueError, match=re.escape(words)) as caught:
        BY_KEY[key].read(text)
    assert str(caught.value).isprintable()


def test_shifts_past_midnight_go_on_in_the_next_day() -> None:
    # Friday's night shift ends on Saturday at 06:00; the last quarter-hour brings nothing new
    shifts = read_hours("Mon-Fri 22:00-06:00")
    work = {day: rates for days, rates in hourly_work(shifts, 12.0) for day in days}
    assert work["Mon"] == (0.0,) * 22 + (12.0, 12.0)
    assert work["Sat"] == (12.0, 12.0, 12.0, 12.0, 12.0, 9.0) + (0.0,) * 18
    assert work["Tue"] == (12.0, 12.0, 12.0, 12.0, 12.0, 9.0) + (0.0,) * 16 + (12.0, 12.0)
    assert "Sun" not in work


@settings(max_examples=80, deadline=None)
@given(text=shift_texts())
def test_the_week_is_covered_once_and_working_hours_hold_the_shifts(text: str) -> None:
    shifts = read_hours(text)
    minutes = [0] * (7 * 1440)
    for days, start, end, works in timetable_rows(shifts):
        first, last = ((60 * int(clock[:2]) + int(clock[3:])) for clock in (start, end))
        for day, minute in itertools.product(days, range(first, last)):
            minutes[WEEKDAYS.index(day) * 1440 + minute] += 10 if works else 1
    assert set(minutes) <= {1, 10}
    for shift in shifts:
        for day in shift.days:
            begin = WEEKDAYS.index(day) * 1440
            span = range(begin + shift.start_min - 15, begin + shift.end_min + 15)
            assert {minutes[minute % (7 * 1440)] for minute in span} == {10}


@settings(max_examples=8, deadline=None, derandomize=True)
@given(
    truck_type=st.sampled_from(sorted(TYPE_VALUES.keys() - {"walker"})),
    aisles=st.integers(4, 40),
    aisle_length_m=st.floats(20.0, 120.0),
    busiest_share=st.floats(0.2, 0.7),
    load=st.floats(0.3, 0.7),
    trucks=st.integers(3, 15),
)
def test_a_site_of_reasonable_size_does_its_work(load: float, **given: Any) -> None:
    """Trucks at work for `load` of the time: no move waits over the weekend, and waits are minutes."""
    per_move = busy_trucks(fill_in({**given, "moves_per_hour": 1.0}))
    in_aisle = load_of_busiest_aisle(fill_in({**given, "moves_per_hour": 1.0}))
    moves = load * given["trucks"] / per_move
    assume(in_aisle * moves < 0.4)
    assert moves > 0.1
    answers = fill_in({**given, "moves_per_hour": moves})
    assert strains(answers) == ()
    scenario = parse_scenario(write_site(answers))
    traffic = simulate_traffic(prepare_site(scenario), 0)
    assert traffic.books is not None
    assert traffic.waiting_tasks == 0
    # a break of half an hour, cleared at this load, adds minutes to the mean
    assert all(stream["wait_mean_s"] < 900.0 for stream in traffic.books.streams.values())
    (group,) = traffic.books.groups.values()
    assert 0.8 < group["busy_h"] / (load * given["trucks"] * 5 * 16.0) < 1.35  # a rule of thumb


def test_too_much_work_is_told_and_piles_up() -> None:
    """The other side of the test above."""
    answers = fill_in({"moves_per_hour": 170.0})
    assert busy_trucks(answers) > BUSY_SHARE * answers.trucks
    assert "work will pile up" in " ".join(strains(answers))
    scenario = parse_scenario(write_site(answers))
    assert simulate_traffic(prepare_site(scenario), 0).waiting_tasks > 100


def test_a_crowded_aisle_is_told() -> None:
    answers = fill_in({"moves_per_hour": 60.0, "aisles": 4, "busiest_share": 0.9})
    assert load_of_busiest_aisle(answers) > FULL_SHARE * 2
    assert "trucks will queue at its mouth" in " ".join(strains(answers))


def test_share_of_the_busiest_aisle() -> None:
    """Of five aisles the busiest fifth is the first one."""
    answers = fill_in({"aisles": 5, "busiest_share": 0.6, "moves_per_hour": 100.0})
    even = fill_in({"aisles": 5, "busiest_share": 0.2, "moves_per_hour": 100.0})
    assert load_of_busiest_aisle(answers) == pytest.approx(3.0 * load_of_busiest_aisle(even))  # 0.6 over 0.2
