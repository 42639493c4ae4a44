"""The report: well-formed, alone, escaped, with answers and cautions, without claims."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.results import Result
from sim.show.notes.headline import note_rows
from sim.show.reports.run import render_report
from sim.show.words.cautions import cautions, lux_rows
from sim.show.words.headline import Group, Row, headline_groups
from tests.show.made_results import make_result, make_scenario, without_bays

VOID = {"meta", "img", "br", "hr", "link", "input"}
SVG = '<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
FIGURES = dict.fromkeys(("plan", "power", "hour", "gaps", "aisles", "week"), SVG)
# words that a report never uses of a site
CLAIMS = re.compile(
    r"\b(compliant|compliance|complies|certified|certifies|guarantee[ds]?|approved|safe|safely|ensures?)\b",
    re.IGNORECASE,
)


class Page(HTMLParser):
    """Counts elements, keeps text by element, refuses what is not nested."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.texts: dict[str, list[str]] = {}
        self.seen: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open:
            self.texts.setdefault(self.open[-1], []).append(data)
            self.seen += [] if self.open[-1] == "style" else [data]

    def words(self) -> str:
        """All that a reader sees, bound spaces as plain ones."""
        return " ".join(" ".join(self.seen).replace("\N{NO-BREAK SPACE}", " ").split())


LUMINAIRES = {"per_aisle": 10, "full_w": 100.0, "floor_lux_at_full": 60.0}
RESULTS = {
    "run": make_result(notices=("hold_s is left at its default.",)),
    "one replication": make_result(factors=(1.0,)),
    "motion only": make_result(with_visits=False, source="replay", factors=(1.0,)),
    "no places": without_bays(make_result(source="replay", factors=(1.0,))),
    "cut": make_result(
        make_scenario(floor={"aisles": 2, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "zones_per_aisle": 3})
    ),
    "lux": make_result(make_scenario(luminaires=LUMINAIRES)),
}


@pytest.mark.parametrize("result", RESULTS.values(), ids=RESULTS.keys())
class TestEveryReport:
    def test_is_well_formed_and_alone(self, result: Result) -> None:
        text = render_report(result, FIGURES)
        page = Page(text)
        assert "script" not in page.tags
        assert "link" not in page.tags
        assert not [name for name, _ in page.attributes if name.startswith("on")]
        addresses = [value for name, value in page.attributes if name in ("src", "href", "srcset", "action")]
        pictures = [value for value in addresses if not value.startswith("#")]
        assert pictures
        assert all(value.startswith("data:image/svg+xml;base64,") for value in pictures)
        places = [value for name, value in page.attributes if name == "id"]
        assert len(places) == len(set(places))
        assert {value[1:] for value in addresses if value.startswith("#")} <= set(places)
        assert not re.search(r"https?:|//[a-z]|@import|url\(", text)

    def test_answers_the_four_questions(self, result: Result) -> None:
        words = Page(render_report(result, FIGURES)).words()
        for question in (
            "How much energy and demand does this timetable save?",
            "How often did a truck work in dim light?",
            "How often did the lights switch?",
            "How sure are these figures?",
        ):
            assert question in words

    def test_claims_nothing(self, result: Result) -> None:
        assert CLAIMS.findall(Page(render_report(result, FIGURES)).words()) == []

    def test_carries_the_cautions(self, result: Result) -> None:
        words = Page(render_report(result, FIGURES)).words()
        for text in cautions(result.scenario, result.layout):
            assert " ".join(text.split()) in words

    def test_shows_no_missing_values(self, result: Result) -> None:
        words = Page(render_report(result, FIGURES)).words()
        assert not re.search(r"\b(nan|None|inf)\b", words)


def test_claims_would_be_found():
    assert CLAIMS.search("The aisles are safe.")
    assert CLAIMS.search("These lights are never Certified")
    assert not CLAIMS.search("the site's safety officer")


def test_order_of_the_report():
    page = Page(render_report(RESULTS["run"], FIGURES))
    assert page.texts["h2"] == [
        "The figures", "Contents", "What to know first", "Settings in force", "Pictures",
        "Zones, the worst first", "Against what the savings stand", "How it was computed", "Cautions",
        "Notes to the figures", "Words",
    ]
    assert page.words().index("How much energy") < page.words().index("What to know first")


def test_intervals_stand_in_the_answer():
    words = Page(render_report(RESULTS["run"], FIGURES)).words()
    assert "these settings use 36.0 ± 3.6 kWh" in words
    assert "behind ± stands the half-width of the 95 % interval" in words


def test_one_replication_is_honest():
    words = Page(render_report(RESULTS["one replication"], FIGURES)).words()
    assert "There was 1 replication: no interval" in words
    assert "±" not in words


def test_both_timers_and_their_sum():
    page = Page(render_report(RESULTS["run"], FIGURES))
    cells = [text.replace("\N{NO-BREAK SPACE}", " ") for text in page.texts["td"]]
    place = cells.index("4.5 min")
    assert cells[place - 1:place + 2] == ["30 s", "4.5 min", "5 min"]


def test_provenance():
    words = Page(render_report(RESULTS["run"], FIGURES)).words()
    assert re.search(r"sha256 [0-9a-f]{64}", words)
    assert "Seed 11" in words
    assert "2, numbers 0 to 1" in words
    assert "It starts empty" in words


@settings(max_examples=60, deadline=None)
@given(title=st.text(min_size=1, max_size=80), notice=st.text(max_size=80))
def test_text_of_the_user_stays_text(title, notice):
    plain = Page(render_report(make_result(per_hour=1.0, notices=("x",)), FIGURES))
    result = make_result(per_hour=1.0, notices=(notice,))
    spoiled = replace(result, scenario=result.scenario.model_copy(update={"title": title}))
    assert Page(render_report(spoiled, FIGURES)).tags == plain.tags


@pytest.mark.parametrize(
    "title", ["<script>alert(1)</script>", "</title><img src=x onerror=y>", 'a & b "c" {{ 7 }}']
)
def test_a_title_with_markup_is_shown_as_it_is(title):
    result = make_result()
    result = replace(result, scenario=result.scenario.model_copy(update={"title": title}))
    page = Page(render_report(result, FIGURES))
    assert "".join(page.texts["h1"]) == title
    assert page.tags.count("img") == len(FIGURES)


def test_absent_pictures_are_left_out():
    page = Page(render_report(make_result(), {"week": SVG}))
    assert page.tags.count("img") == 1


def test_low_light_is_compared_with_numeric_limits():
    # 60 lx: day 100 % and 30 %, night 50 % and 0 %; limits: 150 lx (EN 12464-1), 2 lm/ft2
    # = 21.53 lx (29 CFR 1910.178(h)(2)), 20 lx (HSG38, Table 1), 1 fc = 10.76 lx (IBC 2021, 1008.2.1)
    rows = {(row.where, row.level): row for row in lux_rows(RESULTS["lux"].scenario)}
    assert rows["day", "unoccupied, 30 %"].lux == pytest.approx(18.0)
    assert rows["day", "unoccupied, 30 %"].meets == (False, False, False, True)
    assert rows["day", "occupied, 100 %"].meets == (False, True, True, True)
    assert rows["night", "unoccupied, 0 %"].meets == (False, False, False, False)


@pytest.mark.parametrize(
    ("lux", "meets"), [(20.0, (False, True)), (22.0, (True, True)), (10.0, (False, False))]
)
def test_limits_of_truck_light_and_of_traffic_routes(lux, meets):
    # 29 CFR 1910.178(h)(2): 2 lm/ft2 = 21.53 lx; HSG38, Table 1: 20 lx on average
    luminaires = {"per_aisle": 10, "full_w": 100.0, "floor_lux_at_full": lux}
    rows = lux_rows(make_scenario(luminaires=luminaires))
    full = next(row for row in rows if row.level == "occupied, 100 %")
    assert full.meets[1:3] == meets


@pytest.mark.parametrize(("level", "conflict"), [(5.0 / 60.0, True), (15.0 / 60.0, False)])
def test_short_delays_on_a_way_out(level, conflict):
    # NFPA 101-2012, 7.8.1.2.2: a timer of 15 min; IBC 2021, 1008.2.1: 1 fc, 10.76 lx; 10 min at 5 lx warns
    lighting = {"settings": {"all": {"unoccupied_level": level, "timeout_s": 600}}}
    scenario = make_scenario(
        lighting=lighting, timetable=[{"from": "00:00", "to": "24:00", "settings": "all"}],
        luminaires={"per_aisle": 10, "full_w": 100.0, "floor_lux_at_full": 60.0},
    )
    text = " ".join(cautions(scenario, make_result(scenario).layout))
    assert ("may conflict with the egress rule" in text) is conflict


@pytest.mark.parametrize(
    ("timeout_s", "level", "delay", "cut"),
    [
        (1170, 0.5, "meets", "meets"),
        (1171, 0.5, "does not meet", "meets"),
        (1170, 0.51, "meets", "does not meet"),
    ],
)
def test_energy_code_numbers(timeout_s, level, delay, cut):
    # IECC 2021, C405.2.1.2: half the power within 20 min; the hold is 30 s
    lighting = {"settings": {"all": {"unoccupied_level": level, "timeout_s": timeout_s}}}
    scenario = make_scenario(
        lighting=lighting, timetable=[{"from": "00:00", "to": "24:00", "settings": "all"}]
    )
    text = " ".join(cautions(scenario, make_result(scenario).layout))
    assert f"which {delay} the numeric limit of 20 min" in text
    assert f"which {cut} the numeric limit of 50 %" in text


def test_way_travelled_before_the_light_is_there():
    # elementary, to 90 % of full light: latency 0.2 s, 0 to 100 % in 0.707 s, so 0.6363 s to 90 %; 3 m/s
    scenario = make_scenario(
        sensors={"at": "ends", "range_m": 9.0, "latency_s": 0.2},
        lighting={"settings": {"all": {"unoccupied_level": 0.0, "timeout_s": 60, "fade_up_s": 0.707}}},
        timetable=[{"from": "00:00", "to": "24:00", "settings": "all"}],
        trucks=[{"name": "reach", "count": 4, "speed_laden_m_per_s": 3.0, "speed_empty_m_per_s": 3.0,
                 "handling_mean_s": 60.0}],
    )
    text = " ".join(cautions(scenario, make_result(scenario).layout))
    assert "at 3 m/s a truck goes 2.51 m in that time" in text  # (0.2 + 0.6363) x 3 = 2.509


class Links(HTMLParser):
    """Anchors and what they point at."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.targets: list[str] = []

    def handle_starttag(self, tag, attrs):
        for name, value in attrs:
            if name == "id":
                self.ids.append(value)
            elif tag == "a" and name == "href":
                self.targets.append(value)


def test_every_link_leads_somewhere_and_every_figure_has_its_note():
    result = make_result()
    page = render_report(result, {})
    links = Links()
    links.feed(page)
    assert len(set(links.ids)) == len(links.ids)
    assert set(links.targets) <= {f"#{name}" for name in links.ids}
    groups = headline_groups(result)
    numbers, notes = note_rows(groups, has_intervals=True)
    assert set(numbers) == {row.label for group in groups for row in group.rows}
    assert [note.number for note in notes] == list(range(1, len(numbers) + 2))
    assert all(note.source and f'id="note-{note.number}"' in page for note in notes)


def test_a_note_that_is_missing_is_noticed():
    """Negative control."""
    numbers, _ = note_rows([Group("x", (Row("figure of tomorrow", "1"),))], has_intervals=False)
    assert numbers == {}
