"""A first scenario file written from answers: each value with its unit, its meaning and how far to trust it.

Comes in: `Answers`.  Goes out: TOML text with comments.  Before: `scenario/questions`, `scenario/first_load`;
after: `cli`, which writes the file.  What nobody answered is marked ASSUMED, with a source where there is
one; facts that move the answer most are marked ASK.
"""

from __future__ import annotations

import json
import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from sim.scenario.first_load import STAGING_M, WAREHOUSE
from sim.scenario.questions import AisleRow, Answers, Value
from sim.scenario.tables.base import NAME_PATTERN
from sim.scenario.truck_types import TYPE_VALUES
from sim.scenario.working_hours import hourly_work, read_hours, timetable_rows

__all__ = ["write_site", "zones_of_list"]

PRACTICE = "ASSUMED"
FROM_LIST = "from the list of aisles"

STANDBY_W, HANDLING_CV = 0.6, 0.5
APPROACH_M, PASSING_TRIGGER, PASSING_RANGE_M = 3.0, 0.1, 3.0
STILL_PER_MIN, MISS, LATENCY_S = 2.0, 0.02, 0.5
FADE_UP_S, FADE_DOWN_S = 0.7, 10.0
REACH_M = {"ends": 9.0, "every": 4.0}
"""Common practice, no source, and marked so in the file."""

REACH_OF_SPACING = 0.6
"""A sensor sees at least so many luminaire spacings each way: to the mouth, or to the next one's reach."""

_COLUMN, _WIDTH = 33, 110
_TRUCK_KEYS = (
    ("speed_laden_m_per_s", "m/s", "with a load"),
    ("speed_empty_m_per_s", "m/s", "without"),
    ("acceleration_m_per_s2", "m/s2", "also for braking"),
    ("handling_mean_s", "s", "one pick-up or set-down, lifting apart. ASK, or time twenty"),
    ("lift_m_per_s", "m/s", "lifting"),
    ("lower_m_per_s", "m/s", "lowering"),
)


def write_site(answers: Answers) -> str:
    """Return a scenario file.

    Parameters
    ----------
    answers : checked

    Returns
    -------
    TOML with comments, which loads without a fault
    """
    sections = (
        _head(answers), _floor(answers), _groups(answers), _luminaires(answers), _sensors(answers),
        _lighting(answers), _timetable(answers), _trucks(answers), _work(answers), _overrides(answers),
    )
    texts = ["\n".join(section) for section in sections]
    return "\n\n".join(text for text in texts if text) + "\n"


def _toml(value: Value) -> str:
    """Write a value; a number with decimals always has a point."""
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


def _line(key: str, value: Value, *comment: str) -> str:
    """One key with its comment."""
    return _raw(key, _toml(value), *comment)


def _raw(key: str, text: str, *comment: str) -> str:
    """One key with its comment; the value is TOML already."""
    return f"{f'{key} = {text}':<{_COLUMN}}# {'; '.join(comment)}"


def _said(text: str) -> list[str]:
    """A sentence as lines of comment."""
    return textwrap.wrap(
        text, _WIDTH, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False,
        break_long_words=False,
    )


def _list(key: str, items: Iterable[str]) -> list[str]:
    """A list, over several lines where it is long; no line ends inside an item."""
    parts = [f"{item}, " for item in items]
    text = "".join(parts).removesuffix(", ")
    if len(key) + len(text) + 5 <= _WIDTH:
        return [f"{key} = [{text}]"]
    lines = ["  "]
    for part in parts:
        if len(lines[-1]) + len(part) > _WIDTH:
            lines.append("  ")
        lines[-1] += part
    return [f"{key} = [", *(line.rstrip() for line in lines), "]"]


def _mark(answers: Answers, key: str, source: str = PRACTICE) -> str:
    """Whether somebody answered, and if not, where the value comes from."""
    return source if key in answers.assumed else "as answered"


def _head(answers: Answers) -> Iterator[str]:
    """Top of the file."""
    yield "#:schema ./scenario.schema.json"
    yield from _said(
        "A first scenario of this site, made from a few answers. ASSUMED marks what nobody answered: common "
        "practice, no source, unless a source follows in brackets; replace it by what you find on site. ASK "
        "marks what moves the result most. Every key, with unit and range, stands in scenarios/README.md."
    )
    yield ""
    yield _line("format", 1, "version of this file format")
    yield f"title = {_toml(answers.title)}"
    yield _raw("start", "2027-03-01", "local date of second 0, a Monday", "ASSUMED (any date will do)")
    yield _line("days", 7, "[d] one week, so that nights and days off count")
    yield _line("seed", 1, "any whole number; the same seed gives the same trucks again")
    yield _line("replications", 10, "independent weeks; their spread gives the intervals")


def _floor(answers: Answers) -> Iterator[str]:
    """Aisles, racks, doors."""
    house = WAREHOUSE[answers.truck_type]
    lengths = [row.length_m for row in answers.rows]
    yield "[floor]"
    if answers.is_list:
        yield from _said(f"Aisles {FROM_LIST}, in its order; the first are taken as the busiest. ASK")
        yield from _list("aisles", (_toml(row.name) for row in answers.rows))
    else:
        called = "called A01, A02, ... from the dock corner, the busiest first"
        yield _line("aisles", len(lengths), called, _mark(answers, "aisles"))
    whence = FROM_LIST if answers.is_list else _mark(answers, "aisle_length_m")
    if len(set(lengths)) == 1:
        yield _line("aisle_length_m", lengths[0], "[m] front mouth to back mouth", whence)
    else:
        yield from _said(f"[m] front mouth to back mouth, {whence}")
        yield from _list("aisle_length_m", map(_toml, lengths))
    width = "ASSUMED (usual for such trucks, from memory)"
    yield _line("aisle_pitch_m", house.pitch_m, "[m] an aisle with half a rack on either side", width)
    yield _line("zones_per_aisle", 1, "control zones along an aisle: it changes level as a whole", PRACTICE)
    yield _line("aisle_capacity", house.capacity, "[trucks] in an aisle, others wait", f"{PRACTICE}. ASK")
    yield _line("staging_depth_m", STAGING_M, "[m] from the doors to the front cross-aisle", PRACTICE)
    doors = "ASSUMED (a door for every 2.5 aisles, no source)"
    whence = _mark(answers, "dock_doors", doors)
    yield _line("dock_doors", answers.dock_doors, "evenly along the front", whence)
    yield _line("tiers", house.tiers, "of the racks, the lowest on the floor", PRACTICE)
    yield _line("tier_height_m", house.tier_height_m, "[m] from one tier to the next", PRACTICE)


def zones_of_list(answers: Answers) -> tuple[dict[str, list[str]], dict[str, list[str]]]:
    """Return the zones of a list that several aisles share, with their aisles.

    Returns
    -------
    those that a scenario can hold as groups, and those it cannot: the aisles differ in watts, or the zone's
    name is that of an aisle or no name
    """
    shared: dict[str, list[AisleRow]] = {}
    for row in answers.rows:
        if row.zone:
            shared.setdefault(row.zone, []).append(row)
    names = {row.name for row in answers.rows}
    kept: dict[str, list[str]] = {}
    left: dict[str, list[str]] = {}
    for zone, rows in shared.items():
        is_name = re.fullmatch(NAME_PATTERN, zone) is not None and zone not in names
        is_alike = len({_pair(answers, row)[1] for row in rows}) == 1
        if len(rows) > 1:
            (kept if is_name and is_alike else left)[zone] = [row.name for row in rows]
    return kept, left


def _groups(answers: Answers) -> Iterator[str]:
    """Aisles that share a zone."""
    for number, (zone, aisles) in enumerate(zones_of_list(answers)[0].items()):
        if number == 0:
            yield from _said(f"Aisles that share one control zone, {FROM_LIST}.")
        yield "[[group]]"
        yield f"name = {_toml(zone)}"
        yield from _list("aisles", map(_toml, aisles))


def _pair(answers: Answers, row: AisleRow) -> tuple[int, float]:
    """Luminaires and watts of one aisle."""
    count = answers.per_aisle if row.luminaires is None else row.luminaires
    return count, answers.full_w if row.watts is None else row.watts


def _usual_pair(answers: Answers) -> tuple[int, float]:
    """Luminaires and watts of most aisles."""
    return Counter(_pair(answers, row) for row in answers.rows).most_common(1)[0][0]


def _luminaires(answers: Answers) -> Iterator[str]:
    """Luminaires, and what a list says of circuits and zones."""
    count, watts = _usual_pair(answers)
    in_list = f"{FROM_LIST}, its most frequent value"
    has_counts = answers.is_list and "per_aisle" not in answers.assumed
    counted = in_list if has_counts and answers.rows[0].luminaires is not None else _mark(
        answers, "per_aisle", "ASSUMED (one every 6 m, no source): count them"
    )
    rated = in_list if answers.rows[0].watts is not None else _mark(answers, "full_w")
    yield "[luminaires]"
    yield _line("per_aisle", count, "evenly spaced", counted)
    yield _line("full_w", watts, "[W] one at full light, gear included", rated)
    yield _line("standby_w", STANDBY_W, "[W] one at level 0, where it still draws a little", PRACTICE)
    yield _line("fixed_on", 0, "of per_aisle: never dimmed (egress, emergency)", "ASSUMED (none). ASK")
    yield from _said(
        "The light on the floor is not given: with floor_lux_at_full, its maintained average [lx], the "
        "report sets the levels beside numeric limits."
    )
    left = zones_of_list(answers)[1]
    for what, values in (
        ("circuit", [row.circuit for row in answers.rows]),
        ("control zone", [row.zone if row.zone in left else "" for row in answers.rows]),
    ):
        if any(values):
            pairs = zip(answers.rows, values, strict=True)
            named = ", ".join(f"{row.name} {text or '-'}" for row, text in pairs)
            yield from _said(f"The {what} of each aisle {FROM_LIST}; no figure uses it: {named}")


def _sensors(answers: Answers) -> Iterator[str]:
    """Sensors."""
    spacing = max(row.length_m / _pair(answers, row)[0] for row in answers.rows)
    reach = round(max(REACH_M[answers.sensors], REACH_OF_SPACING * spacing), 1)
    where = "on the first and the last luminaire" if answers.sensors == "ends" else "on each luminaire"
    passing = "share of the trucks that only pass a mouth and are seen"
    yield "[sensors]"
    yield _line("at", answers.sensors, where, _mark(answers, "sensors"))
    yield _line("range_m", reach, "[m] along the aisle, each way, for a truck", PRACTICE)
    outside = "[m] outside its mouth an end sensor sees a truck turn in"
    yield _line("approach_m", APPROACH_M, outside, PRACTICE)
    yield _line("passing_trigger", PASSING_TRIGGER, passing, f"{PRACTICE}. ASK")
    yield _line("passing_range_m", PASSING_RANGE_M, "[m] so near to the mouth they must come", PRACTICE)
    yield _line("still_rate_per_min", STILL_PER_MIN, "[1/min] signals from a truck that stands", PRACTICE)
    yield _line("miss", MISS, "share of passages that a sensor does not see", PRACTICE)
    yield _line("latency_s", LATENCY_S, "[s] motion to command, sensor and network", PRACTICE)
    hold = "[s] the sensors' own hold time, it adds to timeout_s"
    yield _line("hold_s", answers.hold_s, hold, f"{_mark(answers, 'hold_s')}. ASK")


def _lighting(answers: Answers) -> Iterator[str]:
    """Settings of the working hours and of the rest of the week."""
    used = {works for *_, works in timetable_rows(read_hours(answers.shifts))}
    gap: tuple[str, ...] = ()
    for name, works, level_key, timeout_key in (
        ("working", True, "unoccupied_level", "timeout_s"),
        ("closed", False, "closed_level", "closed_timeout_s"),
    ):
        if works not in used:
            continue
        level, timeout_s = getattr(answers, level_key), getattr(answers, timeout_key)
        total = f"[s] the light stays up for hold and timeout, {answers.hold_s + timeout_s:g} s"
        high = "share of full light while motion is seen"
        fade = "ASSUMED (shortest fade time of IEC 62386-102)"
        whence = _mark(answers, "occupied_level")
        yield from gap
        yield f"[lighting.settings.{name}]"
        yield _line("occupied_level", answers.occupied_level, high, whence)
        whence = _mark(answers, level_key)
        yield _line("unoccupied_level", level, "share of full light afterwards", whence)
        yield _line("timeout_s", timeout_s, total, _mark(answers, timeout_key))
        yield _line("fade_up_s", FADE_UP_S, "[s] one whole transition upwards", fade)
        yield _line("fade_down_s", FADE_DOWN_S, "[s] one whole transition downwards", PRACTICE)
        gap = ("",)


def _days(days: Sequence[str]) -> str:
    """Weekdays as a list of TOML."""
    return f"days = [{', '.join(map(_toml, days))}]"


def _timetable(answers: Answers) -> Iterator[str]:
    """The week."""
    yield from _said(
        "The week: every hour in exactly one row. Working hours begin 15 min before a shift and end 15 min "
        f"after it; {PRACTICE}."
    )
    for days, start, end, works in timetable_rows(read_hours(answers.shifts)):
        yield "[[timetable]]"
        yield _days(days)
        yield f"from = {_toml(start)}"
        yield f"to = {_toml(end)}"
        yield f"settings = {_toml('working' if works else 'closed')}"


def _trucks(answers: Answers) -> Iterator[str]:
    """Trucks and shifts."""
    usual = TYPE_VALUES[answers.truck_type]
    yield "[[trucks]]"
    yield f"name = {_toml(answers.truck_type)}"
    yield _line("type", answers.truck_type, "word of ISO 5053-1", _mark(answers, "truck_type"))
    yield _line("count", answers.trucks, "trucks at work at once", _mark(answers, "trucks"))
    for key, unit, meaning in _TRUCK_KEYS:
        if key in usual:
            trust = f"ASSUMED ({usual[key].source}; trust {usual[key].trust})"
            yield from _said(f"[{unit}] {meaning}; {trust}")
            yield f"{key} = {_toml(float(usual[key].value))}"
    yield _line("handling_cv", HANDLING_CV, "its standard deviation over its mean", PRACTICE)
    yield ""
    yield from _said(f"Shifts: {_mark(answers, 'shifts')}; breaks: all at once, {PRACTICE}. ASK")
    for shift in read_hours(answers.shifts):
        start, end = shift.clocks
        yield "[[shifts]]"
        yield f"trucks = {_toml(answers.truck_type)}"
        yield _days(shift.days)
        yield f"from = {_toml(start)}"
        yield f"to = {_toml(end)}"
        yield _line("crew", answers.trucks, "drivers, one for each truck")
        if shift.rest is not None:
            yield f"breaks = [[{', '.join(map(_toml, shift.rest))}]]"


def _work(answers: Answers) -> Iterator[str]:
    """Half of the moves in, half of them out."""
    week = hourly_work(read_hours(answers.shifts), answers.moves_per_hour / 2.0)
    yield from _said(
        f"Work: {answers.moves_per_hour:g} moves an hour, {_mark(answers, 'moves_per_hour')}; half come in, "
        "half go out, evenly over the shifts, and the last quarter-hour before the site closes brings "
        f"nothing new, {PRACTICE}. ASK for an export of a week's moves by hour and aisle."
    )
    share = "share of the moves in the busiest fifth of the aisles"
    for name, kind in (("in", "putaway"), ("out", "retrieve")):
        for number, (days, rates) in enumerate(week, start=1):
            yield "[[work]]"
            yield f"name = {_toml(name if len(week) == 1 else f'{name} {number}')}"
            yield f"kind = {_toml(kind)}"
            yield from _list("per_hour", (f"{rate:g}" for rate in rates))
            yield _days(days)
            marked = f"{_mark(answers, 'busiest_share')}. ASK"
            yield _line("top_20pct_share", answers.busiest_share, share, marked)


def _overrides(answers: Answers) -> Iterator[str]:
    """Aisles whose luminaires differ from those of most."""
    usual = _usual_pair(answers)
    others: dict[tuple[int, float], list[str]] = {}
    for row in answers.rows:
        if (pair := _pair(answers, row)) != usual:
            others.setdefault(pair, []).append(row.name)
    if others:
        yield from _said("Aisles whose luminaires differ from the others'.")
    for (count, watts), names in others.items():
        yield "[[override]]"
        yield from _list("aisles", map(_toml, names))
        if count != usual[0]:
            yield f"per_aisle = {_toml(count)}"
        if watts != usual[1]:
            yield f"full_w = {_toml(watts)}"
