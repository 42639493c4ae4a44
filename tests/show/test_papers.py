"""Every kind of report: summary first, contents, a note for every number, words, cautions."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from sim.results import Estimate
from sim.show.notes.book import Meaning, NoteBook
from sim.show.notes.decide import RECOMMEND_NOTES
from sim.show.reports.paper import Table, make_table
from sim.show.reports.summary_recommend import (
    plan_origin,
    recommend_summary,
    recommended_plan,
    settings_beside,
)
from sim.show.words.glossary import GLOSSARY, used_words
from sim.show.words.plain_names import plain_names
from sim.show.words.sections import Section
from sim.study.differences import Difference, subtract, subtract_paired
from tests.show.made_papers import KINDS, advised, paper
from tests.show.test_notebook import check_cell, check_pair
from tests.show.test_report import CLAIMS, Links, Page

NUMBER = re.compile(r"\d")
OWN_TABLES = ("Line by line", "7. Functional test: what was found")
"""The worksheet names method and source in every line; the other has names of aisles and empty fields."""


class Grids(HTMLParser):
    """The tables of a page: whether they hold numbers, and whether something leads to a note."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.title = ""
        self.found: list[tuple[str, list[str], bool]] = []
        self.is_heading, self.is_cell = False, False
        self.title_marked = self.marked = False
        self.cells: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("h2", "h3"):
            self.title, self.title_marked, self.is_heading = "", False, True
        elif tag == "table":
            self.cells, self.marked = [], self.title_marked
        elif tag == "td":
            self.is_cell = True
        elif tag == "a" and dict(attrs).get("href", "").startswith("#note-"):  # type: ignore[union-attr]
            self.marked = True
            self.title_marked |= self.is_heading

    def handle_endtag(self, tag: str) -> None:
        if tag in ("h2", "h3"):
            self.is_heading = False
        elif tag == "td":
            self.is_cell = False
        elif tag == "table":
            self.found.append((self.title.strip(), self.cells, self.marked))

    def handle_data(self, data: str) -> None:
        if self.is_heading:
            self.title += data
        elif self.is_cell:
            self.cells.append(data)


def unsourced(text: str) -> list[str]:
    """Return the headings of tables with numbers from which nothing leads to a note."""
    return [
        title
        for title, cells, is_marked in Grids(text).found
        if any(NUMBER.search(cell) for cell in cells) and not is_marked
    ]


def dead_links(text: str) -> set[str]:
    """Return the links that lead to no part of the page."""
    links = Links()
    links.feed(text)
    assert len(set(links.ids)) == len(links.ids)
    return set(links.targets) - {f"#{name}" for name in links.ids}


def column_names(text: str) -> list[str]:
    """Return the names of columns that a reader meets from the answers to the notes."""
    shown = text[text.index('class="answer"'): text.index('class="notes"')]
    shown = re.sub(r"<[^>]+>", " ", shown)
    return re.findall(r"\b(?:energy_kwh|dim_truck_s|switch_ups|false_offs|saved_share)\b(?!\.)", shown)


@pytest.mark.parametrize("kind", KINDS)
class TestEveryPaper:
    def test_is_well_formed_alone_and_its_links_lead_somewhere(self, kind: str) -> None:
        text = paper(kind)
        page = Page(text)
        assert "script" not in page.tags
        assert "link" not in page.tags
        assert not [name for name, _ in page.attributes if name.startswith("on")]
        assert not re.search(r"https?:|@import|url\(", text)
        assert dead_links(text) == set()

    def test_begins_with_the_answers_and_lists_every_part(self, kind: str) -> None:
        text = paper(kind)
        words = Page(text).words()
        summary = text.index('class="answer"')
        assert summary < text.index('aria-label="Contents"')
        contents = text[text.index('aria-label="Contents"'):]
        contents = contents[: contents.index("</nav>")]
        listed = set(re.findall(r'href="#([\w-]+)"', contents))
        after = text[text.index("</nav>"):]
        parts = set(re.findall(r'<(?:h2|section class="sheet"|th class="group"[^>]*?) id="([\w-]+)"', after))
        assert parts - {"lines"} <= listed
        assert "How sure" in words

    def test_no_number_stands_without_a_note(self, kind: str) -> None:
        text = paper(kind)
        left = [title for title in unsourced(text) if title not in OWN_TABLES]
        assert left == []

    def test_words_are_those_of_the_page_and_claim_nothing(self, kind: str) -> None:
        text = paper(kind)
        listed = re.findall(r"<dt>(.*?)</dt>", text[text.rindex('<dl class="words">'):])
        body = text[: text.rindex('<dl class="words">')]
        known = dict(GLOSSARY)
        assert len(listed) >= 5
        assert {word for word, _ in used_words(body)} == set(listed)
        assert all(word in known for word in listed)
        assert CLAIMS.findall(Page(text).words()) == []
        assert not re.search(r"\b(nan|None(?! of this)|inf)\b", Page(text).words())

    def test_cautions_and_both_schemes(self, kind: str) -> None:
        text = paper(kind)
        assert "The authority having jurisdiction, a licensed engineer" in Page(text).words()
        assert '<meta name="color-scheme" content="light dark">' in text
        assert "prefers-color-scheme: dark" in text

    def test_names_of_columns_are_in_words(self, kind: str) -> None:
        assert column_names(paper(kind)) == []


def test_a_number_without_a_note_is_noticed() -> None:
    """Negative control: the same page without its marks."""
    bare = re.sub(r'<sup class="marks">.*?</sup>', "", paper("recommend"))
    assert len(unsourced(bare)) > 5


def test_a_word_that_stands_nowhere_is_not_explained() -> None:
    assert "hypervolume" not in dict(used_words("<p>energy of a zone</p>"))
    assert "hypervolume" in dict(used_words("<p>The hypervolumes.</p>"))


def test_what_is_wrong_with_a_page_is_noticed() -> None:
    """Negative controls: markup not nested, a link to nowhere, an id twice, a claim, a column's name."""
    text = paper("handover")
    for spoilt in (text.replace("</main>", "", 1), text.replace("</main>", "</p></main>", 1)):
        with pytest.raises(AssertionError):
            Page(spoilt)
    assert dead_links(text.replace('id="note-1"', "", 1)) == {"#note-1"}
    with pytest.raises(AssertionError):
        dead_links(text.replace('id="note-2"', 'id="note-1"', 1))
    assert CLAIMS.findall(Page(text.replace("</main>", "<p>It is safe.</p></main>", 1)).words()) == ["safe"]
    named = re.sub(r'(<section class="answer"[^>]*>)', r"\1<p>saved_share</p>", text)
    assert column_names(named) == ["saved_share"]


def table(section: Section, meanings: Sequence[Meaning] = ()) -> Table:
    return make_table(section, NoteBook(meanings))


def test_marks_stand_once() -> None:
    """What the title says already is not said again at every row; an interval is noted at the title."""
    meanings = (Meaning("All", "one", "a"), Meaning("x|All", "one", "a"), Meaning("y", "two", "b"))
    found = table(Section("All", ("", "y"), (("x", "1 ± 2"), ("energy_kwh", "3"))), meanings)
    assert [cell.marks for cell in found.header] == [(), (2,)]
    assert [row[0].marks for row in found.rows] == [(), (3,)]
    assert found.title.marks == (1, 4)
    assert found.rows[1][0].text == "energy"


def test_plain_names_leave_files_and_keys_alone() -> None:
    assert plain_names("shortfall_truck_s_per_visit.") == "shortfall per visit."
    assert plain_names("energy_kwh.csv, my_energy_kwh") == "energy_kwh.csv, my_energy_kwh"
    assert plain_names("sensors.miss=0.1") == "sensors.miss=0.1"


class TestRecommendation:
    """Both sides of a recommendation, against its own arrays."""

    def test_settings_stand_side_by_side_by_period(self) -> None:
        found = advised()
        sections = settings_beside(found)
        assert [section.title.split(": ")[1].split(",")[0] for section in sections] == list(found.fit.names)
        site = found.wish.scenario
        for period, section in zip(found.fit.names, sections, strict=True):
            assert section.header == ("", "In force", "One for all", "By group", "By aisle")
            rows = {row[0]: row[1:] for row in section.rows}
            single = found.plans["single"].settings[0][period]
            aisles = [found.plans["aisles"].settings_of(place)[period] for place in range(3)]
            assert rows["different settings"] == (
                str(len({repr(site.settings_of(name)[period]) for name in site.lit_names})), "1",
                str(len({repr(found.plans["groups"].settings_of(place)[period]) for place in range(3)})),
                str(len({repr(one) for one in aisles})),
            )
            seconds = sorted({one.timeout_s for one in aisles})
            assert rows["timeout"][1].split()[0] in (f"{single.timeout_s:g}", f"{single.timeout_s / 60:g}")
            assert (" to " in rows["timeout"][3]) == (len(seconds) > 1)
        # 12 hours each of every day: 84 h a week
        assert all(section.title.endswith("84 h a week") for section in sections)

    def test_figures_of_both_with_their_intervals(self) -> None:
        found = advised()
        summary = recommend_summary(found)
        assert summary.table is not None
        rows = {row[0]: row[1:] for row in summary.table.rows}
        today = found.trials[0].totals["current"]
        best = found.trials[0].totals["aisles"]
        assert rows["saved against the settings in force"][0] == ""
        shares = 100.0 * (1.0 - best["energy_kwh"] / today["energy_kwh"])
        check_cell(rows["saved against the settings in force"][-1], shares)
        for name in ("energy_kwh", "dim_truck_s", "false_offs", "switch_ups"):
            for place, plan in enumerate(("current", "single", "groups", "aisles")):
                check_cell(rows[name][place], found.trials[0].totals[plan][name])
        with pytest.raises(AssertionError):
            check_cell(rows["energy_kwh"][0], best["energy_kwh"])

    def test_the_saving_of_the_first_page_is_the_paired_one(self) -> None:
        found = advised()
        totals = found.trials[0].totals
        today, best = (totals[plan]["energy_kwh"].tolist() for plan in ("current", "aisles"))
        paired = subtract_paired(today, best)
        text = dict(recommend_summary(found).answers)["What do they save?"]
        [(mean, half)] = re.findall(r", ([\d.,]+) ± ([\d.,]+)", text)
        check_pair(mean, half, replace(paired.estimate, mean=abs(paired.estimate.mean or 0.0)))
        alone = subtract(today, best).estimate.half_width
        with pytest.raises(AssertionError):
            check_pair(mean, half, replace(paired.estimate, mean=float(mean), half_width=alone))
        assert "than the settings in force" in text

    @pytest.mark.parametrize(("mean", "half", "plan"), [(9.0, 2.0, "aisles"), (1.0, 2.0, "single")])
    def test_a_finer_plan_must_be_shown_to_save_more(self, mean: float, half: float, plan: str) -> None:
        """9 ± 2 kWh is a saving, 1 ± 2 kWh is none: then one setting for all stands on the first page."""
        savings = tuple(
            replace(one, difference=Difference(Estimate(mean, half), True)) if one.over == "single" else one
            for one in advised().savings
        )
        found = replace(advised(), savings=savings)
        assert recommended_plan(found) == plan
        text = dict(recommend_summary(found).answers)["Which settings?"]
        assert ("saves 9.0 ± 2.0 kWh" in text) == (plan == "aisles")
        assert ("shown to save more" in text) == (plan == "single")

    def test_a_plan_that_exceeds_a_limit_does_not_lead(self) -> None:
        """Within the limits where it was fitted, beyond one on other traffic: it is not the first page's."""
        found = advised()
        label = found.trials[0].stress.label
        assert recommended_plan(found) == "aisles"
        worse = [replace(one, estimate=Estimate(1e9, 1.0)) for one in found.verdicts["aisles"][label]]
        beyond = {**found.verdicts["aisles"], label: tuple(worse)}
        verdicts = {**found.verdicts, "aisles": beyond}
        assert recommended_plan(replace(found, verdicts=verdicts)) != "aisles"

    def test_a_plans_file_says_what_it_was_compared_with(self) -> None:
        text = plan_origin(advised(), "aisles")
        assert text.startswith("Recommended settings, by aisle:")
        assert "less than the settings in force" in text
        assert "\n" not in text

    def test_meanings_are_patterns(self) -> None:
        for meaning in RECOMMEND_NOTES:
            re.compile(meaning.pattern)
            assert meaning.text.endswith(".")
            assert meaning.source
