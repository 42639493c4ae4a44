"""`--vary KEY=VALUES`: what is read, and what is refused with words that help."""

from __future__ import annotations

import math
from contextlib import suppress
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.errors import InputError
from sim.study.sweeping.values import MOST_VALUES, Span, ValuesError, parse_values, value_text
from sim.study.sweeping.vary import parse_varied
from tests.study.decide_site import small_site


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("30:1800:600", (30, 630, 1230)),
        ("30:1830:600", (30, 630, 1230, 1830)),
        ("0:1:0.1", (0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1)),
        ("10:1:-3", (10, 7, 4, 1)),
        ("5:5:1", (5,)),
        ("1e1:3e1:1e1", (10, 20, 30)),
        ("0.25,0.5", (0.25, 0.5)),
        ("30:90:30,300", (30, 60, 90, 300)),
        ("ends, every", ("ends", "every")),
        ('"06:00","07:30"', ("06:00", "07:30")),
        ("[5,30.5],[1, 2]", ([5, 30.5], [1, 2])),
        ("true", (True,)),
        ("2027-03-01, 2027-03-02", ("2027-03-01", "2027-03-02")),  # dates are text here
    ],
)
def test_ranges_and_lists(text, values):
    assert parse_values(text) == values
    assert [type(one) for one in parse_values(text)] == [type(one) for one in values]


@given(
    st.integers(-1000, 1000), st.integers(1, 60), st.integers(0, 200), st.integers(0, 4), st.integers(0, 99)
)
def test_the_end_belongs_to_a_range_when_a_whole_number_of_steps_reaches_it(
    first, step, steps, places, short
):
    """Exact for decimals of any length: a + n step is b, and anything short of it is not."""
    unit = Fraction(1, 10**places)
    low, size = first * unit, step * unit
    last = low + steps * size + Fraction(short, 100) * size
    text = ":".join(f"{float(number):.12f}" for number in (low, last, size))
    found = parse_values(text)
    assert isinstance(found, tuple)
    assert len(found) == steps + 1
    assert all(one == float(low + place * size) for place, one in enumerate(found))


def test_text_of_values_reads_back():
    for value in (30, 0.1, "ends", [5, 30.5], 1e-7, True):
        assert parse_values(value_text(value)) == (value,)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty value"),
        ("1,,2", "empty value"),
        ("1:2:0", "step must not be 0"),
        ("2:1:1", "is empty"),
        ("2:1", "first end must be below"),
        ("1:2,5", "stands alone"),
        ("1,2,1", "more than once"),
        ("0:1:1e-9", f"has 1,000,000,001 values; at most {MOST_VALUES:,}"),
        ("0:1:1e-90", "too many values"),
        ("1" * 200_000, "longer than"),
    ],
)
def test_faulty_values_are_told(text, words):
    with pytest.raises(ValuesError, match=words):
        parse_values(text)


def test_many_ranges_together_are_too_many_too(monkeypatch):
    """Each range by itself is short enough; together they are looked at before the next is unrolled."""
    monkeypatch.setattr("sim.study.sweeping.values.MOST_VALUES", 20)
    assert len(parse_values("1:10:1,11:20:1")) == 20
    with pytest.raises(ValuesError, match="has more than 20 values; take a larger step"):
        parse_values("1:10:1,11:21:1")


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text):
    with suppress(ValuesError):
        assert parse_values(text)


def test_a_span_gives_whole_numbers_alike():
    span = parse_values("4:7")
    assert span == Span(4.0, 7.0, True)
    shares = [(number + 0.5) / 400 for number in range(400)]
    assert [sum(span.at(share) == whole for share in shares) for whole in (4, 5, 6, 7)] == [100] * 4
    assert span.at(1.0) == 7
    assert math.isclose(parse_values("0.5:1.5").at(0.25), 0.75)


@pytest.mark.parametrize(
    ("text", "paths", "is_setting"),
    [
        ("day.timeout_s=60", [("lighting", "settings", "day", "timeout_s")], True),
        (
            "all.unoccupied_level=0.1",
            [("lighting", "settings", name, "unoccupied_level") for name in ("day", "night")],
            True,
        ),
        ("lighting.settings.day.timeout_s=60", [("lighting", "settings", "day", "timeout_s")], True),
        ("sensors.at=ends,[3,20]", [("sensors", "at")], False),
        ("floor.zones_per_aisle=1,2", [("floor", "zones_per_aisle")], False),
        ("work.retrieval.per_hour=5:10:1", [("work", 0, "per_hour")], False),
        ("trucks.reach.count=4", [("trucks", 0, "count")], False),
        ("shifts.2.crew=1,2", [("shifts", 1, "crew")], False),
        ("shifts.1.from=05:00,06:00", [("shifts", 0, "from")], False),
        ("floor.aisle_capacity=1,2", [("floor", "aisle_capacity")], False),
    ],
)
def test_keys_find_their_places(text, paths, is_setting):
    (found,) = parse_varied([text], small_site())
    assert list(found.paths) == paths
    assert found.is_setting is is_setting
    assert found.key == text.partition("=")[0]


def test_names_with_points_win_by_length():
    site = small_site(
        a='settings.night] -> settings."day.late"]', b='settings = "night" -> settings = "day.late"'
    )
    (found,) = parse_varied(["day.late.timeout_s=60"], site)
    assert found.paths == (("lighting", "settings", "day.late", "timeout_s"),)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("dya.timeout_s=60", 'did you mean "day.timeout_s"'),
        ("day.timeout=60", 'did you mean "timeout_s"'),
        ("trucks.reech.count=4", 'did you mean "reach"'),
        ("trucks.4.count=4", "There are: reach"),
        ("floor.aisls=4", 'did you mean "aisles"'),
        ("floor=4", "names a whole table"),
        ("trucks=4", "names a whole table"),
        ("trucks.reach=4", "names a whole table"),
        ("lighting.settings=4", "names a whole table"),
        ("sensors.at.x=4", "no keys of its own"),
        ("seed=1:5:1", "--replications"),
        ("title=x", "changes no figure"),
        ("tariff.x=1", "changes no figure of a sweep"),
        ("nonsense=1", "no such key"),
        ("day.timeout_s", "write KEY="),
        ("=4", "write KEY="),
    ],
)
def test_unknown_keys_are_told_with_the_nearest(text, words):
    with pytest.raises(InputError, match=words):
        parse_varied([text], small_site())


def test_all_faults_come_together_and_a_value_is_varied_once():
    with pytest.raises(InputError) as caught:
        parse_varied(
            ["dya.timeout_s=60", "day.timeout_s=9:1:1", "all.timeout_s=60", "night.timeout_s=50"],
            small_site(),
        )
    assert len(caught.value.faults) == 3
    assert "sets the same value as all.timeout_s" in str(caught.value)
