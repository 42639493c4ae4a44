"""What a user reads where tables contradict each other: file, line, key, value and what is allowed, in full.

Each case is a sound site and one line of it turned faulty, so that the site is refused for that line alone.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from sim.errors import Fault, InputError
from sim.scenario.toml import load_scenario, parse_scenario

SITE = """format = 1
start = 2027-03-01
days = 7
[floor]
aisles = 4
aisle_length_m = 60.0
aisle_pitch_m = 5.0
staging_depth_m = 12
[luminaires]
per_aisle = 12
full_w = 100.0
floor_lux_at_full = 200
[sensors]
at = "every"
range_m = 6.0
hold_s = 0
[lighting.settings.day]
occupied_level = 0.9
unoccupied_level = 0.2
timeout_s = 300
[[timetable]]
from = "00:00"
to = "24:00"
settings = "day"
[[trucks]]
name = "reach"
count = 2
speed_laden_m_per_s = 2.0
speed_empty_m_per_s = 2.0
handling_mean_s = 30
[[trucks]]
name = "people"
kind = "walker"
count = 1
[[shifts]]
trucks = "reach"
from = "06:00"
to = "14:00"
crew = 2
[[work]]
name = "in"
kind = "putaway"
per_hour = 10
aisle_skew = 0.5
"""
AREA = """[[area]]
name = "dock"
across_m = [0.0, 20.0]
along_m = [-12.0, 0.0]
luminaires = 10
sensors_at_m = [[5.0, -6.0]]
radius_m = 6.0
"""
TOUR = '[[work]]\nname = "tour"\nkind = "tour"\nper_hour = 1\nlines_per_tour = 40\n'
PRICES = "[tariff]\ncurrency = \"EUR\"\nper_kwh = 0.2\n[[energy_prices]]\nper_kwh = 0.3\n"
PLACE = '[place]\nlatitude = 52.5\nlongitude = 13.4\ntime_zone = "Europe/Berlin"\n'
YARD = PLACE + '[[yard]]\nname = "gate"\nkw = 2\n'
OFFICE = '[[offices]]\nname = "office"\nkw = 2\n'
TRAILERS = '[[inbound]]\nname = "{}"\npallets = 30\nper_hour = {}\n'
ROUNDS = (
    '[[shifts]]\ntrucks = "people"\nfrom = "{}"\nto = "12:00"\ncrew = 1\nbreaks = [["10:00", "10:15"]]\n'
)
YEAR_WEEKS = (
    '[[year_weeks]]\nname = "{}"\nspans = [[2027-12-06, 2027-12-19]]\nvolume = 2\n'
    '[[year_weeks]]\nname = "{}"\nspans = [[2027-08-02, 2027-08-15]]\nvolume = 0.5\n'
)
SOUND_CURVE = "power_curve = [[0.0, 5.0], [1.0, 100.0]]"


@dataclass(frozen=True)
class Case:
    """One line that makes a sound site faulty.

    Attributes
    ----------
    sound, faulty : the line as it may stand, and as it may not
    key, message : what is told of it
    more : further lines: tables behind the site; or lines of it and what stands there instead
    at : the line that is named, where it is not the faulty one
    """

    sound: str
    faulty: str
    key: str
    message: str
    more: str = ""
    swap: tuple[str, str] = ("", "")
    at: str = ""


def in_trucks(lines: str) -> tuple[str, str]:
    """The reach trucks with further keys."""
    return "handling_mean_s = 30", f"handling_mean_s = 30\n{lines}"


def in_floor(lines: str) -> tuple[str, str]:
    """The floor with further keys."""
    return "staging_depth_m = 12", f"staging_depth_m = 12\n{lines}"


TWICE = 'the aisle "A02" stands more than once'
LOG_CURVE = (
    'does not go with power_curve = "iec62386-log" (area dock), where levels are commands and not shares of '
    "light; write the floor as a level instead"
)
NO_LENGTH = 'begins and ends at "06:00"; '
NEXT_DAY = 'begins at "24:00"; write "00:00" of the next day'
CASES = {
    "area-lux-of-commands": Case(
        'power_curve = "linear"', 'power_curve = "iec62386-log"', "recommend.unoccupied_floor_lux", LOG_CURVE,
        more=AREA + 'power_curve = "linear"\n[recommend]\nunoccupied_floor_lux = 10\n',
        at="unoccupied_floor_lux = 10",
    ),
    "egress-aisle-twice": Case(
        'egress_aisles = ["A01", "A02"]', 'egress_aisles = ["A02", "A02"]',
        "statements.egress_aisles[2]", TWICE,
        more='[statements]\negress_aisles = ["A01", "A02"]\n',
    ),
    "skylight-unknown-aisle": Case(
        'aisles = ["A01"]', 'aisles = ["A9"]', "skylight.aisles[1]",
        'there is no aisle "A9"; There are: A01, A02, A03, A04',
        more=f'[skylight]\ncaps = {[[0.5] * 24] * 12}\naisles = ["A01"]\n',
    ),
    "group-half-under-the-sky": Case(
        'aisles = ["A01", "A02", "A04"]', 'aisles = ["A01", "A04"]', "group[pair].aisles",
        "only one of A01 and A02 is in skylight.aisles",
        more=(
            '[[group]]\nname = "pair"\naisles = ["A01", "A02"]\n'
            f'[skylight]\ncaps = {[[0.5] * 24] * 12}\naisles = ["A01", "A02", "A04"]\n'
        ),
        at='aisles = ["A01", "A02"]',
    ),
    "aisle-of-trucks-twice": Case(
        'aisles = ["A01", "A02", "A03", "A04"]', 'aisles = ["A01", "A02", "A03", "A04", "A02"]',
        "trucks[reach].aisles", TWICE, swap=in_trucks('aisles = ["A01", "A02", "A03", "A04"]'),
    ),
    "unknown-trucks-where-aisles-are-closed": Case(
        'trucks = ["reach"]', 'trucks = ["reech"]', "work[out].trucks",
        'there is no truck group "reech"; did you mean "reach"? There are: reach, people',
        more='[[work]]\nname = "out"\nkind = "retrieve"\nper_hour = 4\ntrucks = ["reach"]\n',
        swap=in_trucks('aisles = ["A01", "A02", "A03", "A04"]'),
    ),
    "charged-and-changed": Case(
        "change_cv = 0.0", "change_cv = 0.3", "trucks[reach].change_cv",
        "is for batteries that are changed, not charged",
        swap=in_trucks("battery_h = 6\ncharge_h = 2\nchange_cv = 0.0"),
    ),
    "tour-of-long-picks": Case(
        # 40 picks of 30 s and 4 (1 - (3/4)^40) aisles of 60 m at 2 m/s are 1,320 s; of 900 s: 10 h
        "dwell_mean_s = 30", "dwell_mean_s = 900", "work[tour].lines_per_tour",
        "40 picks take about 10.0 h, and the longest shift of those who do them has 8 h; fewer lines, or "
        "shorter handling",
        more=TOUR + "dwell_mean_s = 30\n", at="lines_per_tour = 40",
    ),
    "tour-with-a-spread-of-nothing": Case(
        "dwell_mean_s = 30", "# dwell_mean_s = 30", "work[tour].dwell_cv",
        "says nothing without dwell_mean_s [s]",
        more=TOUR + "dwell_mean_s = 30\ndwell_cv = 0.4\n", at="dwell_cv = 0.4",
    ),
    "price-from-24": Case(
        'from = "22:00"', 'from = "24:00"', "energy_prices[1].from", NEXT_DAY,
        more=PRICES + 'from = "22:00"\nto = "04:00"\n',
    ),
    "cold-aisle-twice": Case(
        'aisles = ["A02"]', 'aisles = ["A02", "A02"]', "store.aisles[2]", TWICE,
        more='[store]\ncooling_cop = 2.5\naisles = ["A02"]\n',
    ),
    "door-twice": Case(
        "doors = [1, 2]", "doors = [2, 2]", "inbound[a].doors", "the door 2 stands more than once",
        more=TRAILERS.format("a", 0.1) + "pallet_s = 60\ndoors = [1, 2]\n", swap=in_floor("dock_doors = 2"),
    ),
    "unloaded-on-foot": Case(
        'unload_trucks = ["dock"]', 'unload_trucks = ["people"]', "inbound[a].unload_trucks",
        '"people" walk; trailers are unloaded by trucks',
        more=(
            '[[trucks]]\nname = "dock"\ntype = "counterbalance"\ncount = 1\n'
            '[[shifts]]\ntrucks = "dock"\nfrom = "06:00"\nto = "14:00"\ncrew = 1\n'
            + TRAILERS.format("a", 0.1) + 'unload_trucks = ["dock"]\n'
        ),
    ),
    "more-trailers-than-one-of-two-doors": Case(
        # 1.25 trailers an hour of 30 pallets of 100 s are 175 h a week at door 2; "a" uses door 1 alone
        "doors = [1, 2]", "doors = [2]", "inbound[b]",
        "more trailers than the doors can turn: they would stand there 175 h a week, and 1 door has 168 h; "
        "fewer trailers, more doors or quicker unloading",
        more=(
            TRAILERS.format("a", 0.3) + "pallet_s = 100\nchange_s = 0\ndoors = [1]\n"
            + TRAILERS.format("b", 1.25) + "pallet_s = 100\nchange_s = 0\ndoors = [1, 2]\n"
        ),
        swap=in_floor("dock_doors = 2"), at='[[inbound]]\nname = "b"',
    ),
    "yard-late-from-24": Case(
        'late_from = "22:00"', 'late_from = "24:00"', "yard[gate].late_from", NEXT_DAY,
        more=YARD + 'late_from = "22:00"\n',
    ),
    "yard-late-for-no-time": Case(
        'late_to = "05:00"', 'late_to = "06:00"', "yard[gate].late_to", NO_LENGTH + "the hours need a length",
        more=YARD + 'late_from = "06:00"\nlate_to = "05:00"\n',
    ),
    "office-day-twice": Case(
        'days = ["Mon", "Tue"]', 'days = ["Tue", "Mon", "Tue"]', "offices[office].days",
        '"Tue" stands more than once', more=OFFICE + 'from = "08:00"\nto = "17:00"\ndays = ["Mon", "Tue"]\n',
    ),
    "one-way-aisle-twice": Case(
        'one_way = ["A02", "A03"]', 'one_way = ["A02", "A03", "A02"]', "floor.one_way", TWICE,
        swap=in_floor('one_way = ["A02", "A03"]'),
    ),
    "cross-aisles-21": Case(
        crossed := f"cross_aisles_m = {list(range(1, 21))}", f"cross_aisles_m = {list(range(1, 22))}",
        "floor.cross_aisles_m", "21 middle cross-aisles; allowed: at most 20", swap=in_floor(crossed),
    ),
    "trucks-twice-in-work": Case(
        'trucks = ["reach"]', 'trucks = ["reach", "reach"]', "work[out].trucks",
        'the group "reach" stands more than once',
        more='[[work]]\nname = "out"\nkind = "retrieve"\nper_hour = 4\ntrucks = ["reach"]\n',
    ),
    "walk-without-walkers": Case(
        'kind = "walker"', 'kind = "truck"\ntype = "pallet-truck"', "work[round]",
        "there are no walkers to do it; add a group to [[trucks]], or name one in its trucks",
        more=(
            '[[work]]\nname = "round"\nkind = "walk"\nper_hour = 1\ndwell_mean_s = 60\n'
            '[[shifts]]\ntrucks = "people"\nfrom = "06:00"\nto = "14:00"\ncrew = 1\n'
        ),
        at='[[work]]\nname = "round"',
    ),
    "special-weeks-of-one-name": Case(
        'name = "summer"', 'name = "peak"', "year_weeks[peak].name", 'the name "peak" stands more than once',
        more="[year]\nof = 2027\n" + YEAR_WEEKS.format("peak", "summer"),
        at='name = "peak"\nspans = [[2027-08-02, 2027-08-15]]',
    ),
    "override-names-an-aisle-twice": Case(
        'aisles = ["A01", "A02"]', 'aisles = ["A02", "A02"]', "override[1].aisles", TWICE,
        more='[[override]]\naisles = ["A01", "A02"]\nper_aisle = 6\n',
    ),
    "break-from-24": Case(
        'breaks = [["10:00", "10:15"]]', 'breaks = [["24:00", "00:15"]]', "shifts[2].breaks[1]",
        'begins at "24:00"; write "00:00"',
        more=ROUNDS.format("22:00"),
    ),
    "shift-of-no-length-with-a-break": Case(
        'to = "12:00"', 'to = "06:00"', "shifts[2].to",
        NO_LENGTH + 'for a whole day write from = "00:00" and to = "24:00"',
        more=ROUNDS.format("06:00"),
    ),
    "hours-missing-every-day": Case(
        # two hours a day are 14 stretches, of which seven are named
        'from = "00:00"\nto = "24:00"',
        'from = "00:00"\nto = "11:00"\nsettings = "day"\n[[timetable]]\nfrom = "12:00"\nto = "23:00"',
        "timetable",
        "no row covers Mon 11:00 to 12:00, Mon 23:00 to 24:00, Tue 11:00 to 12:00, Tue 23:00 to 24:00, "
        "Wed 11:00 to 12:00, Wed 23:00 to 24:00, Thu 11:00 to 12:00, and 7 more; every hour must be covered "
        "once",
        at="[[timetable]]",
    ),
    "no-light-at-full-watts": Case(
        SOUND_CURVE, "power_curve = [[0.0, 0.0], [1.0, 0.0]]", "luminaires.power_curve",
        "[[0.0, 0.0], [1.0, 0.0]]: the watts at level 1 must be above 0",
        swap=("floor_lux_at_full = 200", f"floor_lux_at_full = 200\n{SOUND_CURVE}"),
    ),
}


def faults_of(text: str) -> tuple[Fault, ...]:
    """What is wrong with a text."""
    with pytest.raises(InputError) as caught:
        parse_scenario(text, "site.toml")
    return caught.value.faults


@pytest.mark.parametrize("case", CASES.values(), ids=list(CASES))
def test_a_faulty_line_is_refused_with_its_words(case: Case) -> None:
    """The same site with the line as it may stand is sound."""
    sound = SITE.replace(*case.swap, 1) + case.more
    parse_scenario(sound)
    assert sound.count(f"\n{case.sound}\n") == 1
    text = sound.replace(f"\n{case.sound}\n", f"\n{case.faulty}\n")
    [fault] = faults_of(text)
    line = text[: text.index(f"\n{case.at or case.faulty}\n") + 1].count("\n") + 1
    assert str(fault) == f"site.toml:{line}: {case.key}: {case.message}"


def test_a_sky_needs_its_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """Weather without pvlib is refused, caps are not; where pvlib is there both are sound."""
    weather = '[skylight]\nweather = "pvlib-12839"\nindoor_share = 0.02\nneeded_lux = 150\n'
    caps = f"[skylight]\ncaps = {[[0.5] * 24] * 12}\n"
    for text in (weather, caps):
        parse_scenario(SITE + text)
    monkeypatch.setitem(sys.modules, "pvlib", None)
    [fault] = faults_of(SITE + weather)
    line = SITE.count("\n") + 2
    assert str(fault) == (
        f'site.toml:{line}: skylight.weather: needs the library "pvlib": pip install "aislewake[weather]", '
        "or write caps"
    )
    parse_scenario(SITE + caps)


def test_a_place_needs_its_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """Yard lights without astral are refused at the time zone; where astral is there they are sound."""
    text = SITE + YARD
    parse_scenario(text)
    monkeypatch.setitem(sys.modules, "astral", None)
    monkeypatch.setitem(sys.modules, "astral.sun", None)
    [fault] = faults_of(text)
    line = text.splitlines().index('time_zone = "Europe/Berlin"') + 1
    assert str(fault) == (
        f'site.toml:{line}: place.time_zone: needs the library "astral": pip install "aislewake[site]"'
    )
    assert fault.value == "Europe/Berlin"


def test_a_zone_of_the_clock_is_one_of_the_database() -> None:
    """A known one stays as it is; another one is refused at its line."""
    text = 'timezone = "Europe/Berlin"\n' + SITE
    assert parse_scenario(text).timezone == "Europe/Berlin"
    [fault] = faults_of(text.replace("Berlin", "Berlim"))
    assert str(fault).startswith(
        'site.toml:1: timezone: "Europe/Berlim": "Europe/Berlim" is no time zone of the IANA database here; '
        'write one such as "Europe/Berlin"'
    )


def test_beyond_a_hundred_faults_their_number_is_told(tmp_path: Path) -> None:
    """Each stream of work is at fault: a hundred are told in order of lines, then how many more there are."""
    stream = '[[work]]\nname = "w{}"\nkind = "retrieve"\nper_hour = {}\n'
    path = tmp_path / "many.toml"
    for count, more in ((100, []), (101, ["1 more fault"]), (103, ["3 more faults"])):
        path.write_text(SITE + "".join(stream.format(k, -1) for k in range(count)), encoding="utf-8")
        with pytest.raises(InputError) as caught:
            load_scenario(path)
        told = str(caught.value).splitlines()
        first = SITE.count("\n") + 4
        assert told[0].startswith(f"{path}:{first}: work[w0].per_hour: -1 is out of range; allowed: ")
        assert [fault.line for fault in caught.value.faults[:100]] == list(range(first, first + 400, 4))
        assert told[100:] == [f"{path}: {words}" for words in more]


@pytest.mark.parametrize(("wrong", "more"), [(3, ""), (4, "1 more item is"), (7, "4 more items are")])
def test_beyond_three_faults_of_a_list_their_number_is_told(wrong: int, more: str) -> None:
    """Of 24 rates the first ones are negative; each is told with its number and what is allowed."""
    rates = [-1] * wrong + [5] * (24 - wrong)
    faults = faults_of(SITE.replace("per_hour = 10", f"per_hour = {rates}"))
    line = SITE.splitlines().index("per_hour = 10") + 1
    told = [f"site.toml:{line}: work[in].per_hour[{k}]: -1 is out of range; allowed: " for k in (1, 2, 3)]
    assert [str(fault).startswith(words) for fault, words in zip(faults, told, strict=False)] == [True] * 3
    rest = [f"site.toml:{line}: work[in].per_hour: {more} wrong in the same list"] if more else []
    assert [str(fault) for fault in faults[3:]] == rest
