"""Study files: what they say, what is wrong in them, and the points that come of it."""

from __future__ import annotations

import contextlib
import csv
import json
import tomllib
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import InputError
from sim.provenance import content_hash
from sim.scenario.toml import load_scenario
from sim.study.batch.file import dump_study, read_study
from sim.study.batch.points import Batch, lay_out_points
from sim.study.batch.schema import study_schema
from sim.study.stress import scale
from tests.batch.trial import POINTS, STUDY, lay_out_files
from tests.house.source import ROOT

STUDIES = ROOT / "scenarios" / "studies"
HEAD = 'format = 1\ntitle = "T"\nscenario = "site.toml"\n'


def batch_of(folder: Path, text: str) -> Batch:
    """Lay out the points of a study."""
    return lay_out_points(read_study(lay_out_files(folder, text)))


def faults_of(folder: Path, text: str) -> list[str]:
    """Return what is wrong with a study, without the folder's name."""
    with pytest.raises(InputError) as caught:
        batch_of(folder, text)
    return [str(fault).replace(str(folder) + "/", "") for fault in caught.value.faults]


def test_points_are_in_the_order_of_the_file_the_last_key_fastest(tmp_path):
    batch = batch_of(
        tmp_path,
        HEAD + 'replications = 4\n[factors]\n"sensors.range_m" = [4, 9]\n"all.timeout_s" = [30, 60]\n',
    )
    assert batch.keys == ("sensors.range_m", "all.timeout_s")
    assert batch.points == ((4, 30), (4, 60), (9, 30), (9, 60))
    assert batch.rows == 16
    site = batch.scenario_at(2)
    assert site.sensors.range_m == 9.0
    assert {one.timeout_s for one in site.lighting.settings.values()} == {30.0}
    assert len(batch.sites) == 2, "settings need no site of their own"


def test_ranges_are_unrolled_exactly(tmp_path):
    batch = batch_of(
        tmp_path, HEAD + '[factors]\n"day.unoccupied_level" = { from = 0, to = 0.3, step = 0.1 }\n'
    )
    assert [point[0] for point in batch.points] == [0, 0.1, 0.2, 0.3]
    assert batch.replications == (2,), "the scenario's, where the study has none"


def test_skew_and_volume_are_factors_on_what_was_stated(tmp_path):
    batch = batch_of(tmp_path, HEAD + "[factors]\nskew = [0.5, 1.0]\nvolume = [2.0]\n")
    stated = load_scenario(tmp_path / "site.toml")
    assert batch.scenario_at(0).content() == scale(scale(stated, "skew", 0.5), "volume", 2.0).content()


def test_several_sites_are_a_factor(tmp_path):
    text = (
        HEAD.replace('"site.toml"', '["site.toml", "cross-dock"]')
        + '[factors]\n"all.timeout_s" = [90, 600]\n'
    )
    batch = batch_of(tmp_path, text)
    assert batch.keys == ("scenario", "all.timeout_s")
    assert batch.points == (("site", 90), ("site", 600), ("cross-dock", 90), ("cross-dock", 600))
    assert batch.scenario_at(2).title != batch.scenario_at(0).title
    assert batch.replications == (2, batch.study.sites[1].replications)


def test_samples_are_drawn_alike_and_lie_in_their_ranges(tmp_path):
    text = HEAD + '[sample]\nsize = 16\ndesign = "{design}"\nseed = {seed}\n[factors]\n'
    text += '"all.timeout_s" = {{ from = 60.0, to = 600.0 }}\n"sensors.at" = ["ends", "every"]\n'
    for design in ("sobol", "lhs"):
        points = [batch_of(tmp_path, text.format(design=design, seed=seed)).points for seed in (1, 1, 2)]
        assert points[0] == points[1] != points[2]
        assert len(points[0]) == 16
        assert all(60.0 <= point[0] <= 600.0 for point in points[0])
        # one point in each sixteenth of the range (a Latin hypercube; also Sobol' points of 2**4)
        assert sorted(int((point[0] - 60.0) / 540.0 * 16) for point in points[0]) == list(range(16))
        assert [point[1] for point in points[0]].count("ends") == 8


def test_a_point_drawn_twice_stands_once(tmp_path):
    """32 draws from 3 x 2 values: every combination, none twice."""
    text = HEAD + '[sample]\nsize = 32\n[factors]\n'
    text += '"all.timeout_s" = [30, 60, 90]\n"sensors.at" = ["ends", "every"]\n'
    points = batch_of(tmp_path, text).points
    assert sorted(points) == sorted((timeout, at) for timeout in (30, 60, 90) for at in ("ends", "every"))


def test_a_point_has_its_key_whatever_points_stand_beside_it(tmp_path):
    """Points of a grid share settings; each key is that of a study of this point alone."""
    form = HEAD + '[factors]\n"day.timeout_s" = {}\n"night.timeout_s" = {}\n'
    batch = batch_of(tmp_path, form.format([60, 300], [120, 240]))
    for point, key in zip(batch.points, batch.hashes, strict=True):
        alone = batch_of(tmp_path, form.format(*([value] for value in point)))
        assert alone.hashes == (key,)
    assert len(set(batch.hashes)) == 4


def test_a_seed_is_the_studys(tmp_path):
    assert batch_of(tmp_path, HEAD + "seed = 0\n[factors]\nskew = [1.1]\n").sites[0].seed == 0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["study.toml: format: is missing; allowed: 1"]),
        (
            HEAD + "replications = 0\noutcome = 3\n",
            [
                "factors: is missing; allowed: a list of values, or",
                "study.toml:4: replications: 0 is not allowed; allowed: a whole number from 1 to 10,000",
                'study.toml:5: outcome: unknown key; did you mean "outcomes"?',
            ],
        ),
        (HEAD + "[factors]\n", ["study.toml:4: factors: "]),
        (
            HEAD + '[factors]\n"all.timout_s" = [30]\n"day.unoccupied_level" = [0.3, 0.3]\n',
            [
                'study.toml:5: factors."all.timout_s": ',
                'did you mean "timeout_s"',
                'study.toml:6: factors."day.unoccupied_level": 0.3 stands more than once',
            ],
        ),
        (
            HEAD + "[factors]\nall.timeout_s = [30]\n",
            ['study.toml:5: factors.all: write the whole key in quotes: "all.timeout_s" = ...'],
        ),
        (
            HEAD + '[factors]\n"all.timeout_s" = { from = 30, too = 60 }\n',
            ['study.toml:5: factors."all.timeout_s": unknown word "too"; write a list of values, or'],
        ),
        (
            HEAD + '[factors]\n"all.timeout_s" = { from = 30, to = 60 }\n',
            ["a range without a step is continuous; give a step, or a [sample]"],
        ),
        (HEAD + '[factors]\n"all.timeout_s" = { from = 90, to = 60, step = 30 }\n', ["is empty"]),
        (
            HEAD + '[factors]\n"all.fade_up_s" = [0.7, 500.0]\n',
            ["study.toml:5: all.fade_up_s=500: ", "timeout_s"],
        ),
        (
            HEAD + '[factors]\n"sensors.range_m" = [-4.0]\n',
            ["study.toml:5: sensors.range_m=-4: -4.0 is out of range; allowed: a number above 0"],
        ),
        (HEAD + "[factors]\nskew = [0.0]\n", ["is a factor on what the scenario states, above 0"]),
        (
            HEAD + '[factors]\n"all.timeout_s" = [30]\n"day.timeout_s" = [60]\n',
            ['study.toml:6: factors."day.timeout_s": sets the same value as all.timeout_s; vary it once'],
        ),
        (
            HEAD + 'outcomes = ["energy_kw"]\n[factors]\nskew = [1.0]\n',
            ['study.toml:4: outcomes[1]: "energy_kw" is no outcome; did you mean "energy_kwh"?'],
        ),
        (
            HEAD + 'outcomes = ["light_waits"]\n[factors]\nskew = [1.0]\n',
            ["light_waits is known only where drivers react to the light"],
        ),
        (
            HEAD.replace("site.toml", "sight.toml") + "[factors]\nskew = [1.0]\n",
            ["study.toml:3: scenario: no such scenario file: sight.toml"],
        ),
        (
            HEAD + '[factors]\nseed = [1, 2]\n"lighting" = [1]\n',
            [
                "study.toml:5: factors.seed: cannot be varied",
                "study.toml:6: factors.lighting: names a whole table",
            ],
        ),
        (
            HEAD.replace('"site.toml"', '["site.toml", "./site.toml"]') + "[factors]\nskew = [1.0]\n",
            ["study.toml:3: scenario[2]: the site site stands more than once"],
        ),
        (
            HEAD + "[factors]\nskew = 1.5\n",
            ["study.toml:5: factors.skew: write a list of values, or { from = 30, to = 300, step = 30 }"],
        ),
        (HEAD + "[factors]\nskew = []\n", ["study.toml:5: factors.skew: has no values; write a list"]),
        (
            HEAD + '[factors]\n"all.timeout_s" = { from = "early", to = 60 }\n',
            ['study.toml:5: factors."all.timeout_s": write a list of values, or { from = 30'],
        ),
        (
            HEAD + "[factors]\nstart = [2027-03-01]\n",
            ["study.toml:5: factors.start: 2027-03-01 is no number, text, truth value or list"],
        ),
        (
            HEAD + '[factors]\n"all.timeout_s" = [inf]\n"day.fade_up_s" = [nan]\n',
            [
                'study.toml:5: factors."all.timeout_s": inf is not a finite number',
                'study.toml:6: factors."day.fade_up_s": nan is not a finite number',
            ],
        ),
        (
            HEAD + '[factors]\n"all.timeout_s" = [60]\nspeed = [1.0, 1000.0]\n',
            ["study.toml:6: speed=1000: trucks[reach].speed_laden_m_per_s: 2000.0 is out of range"],
        ),
        (
            HEAD + 'replications = 10_000\n[factors]\n"all.timeout_s" = { from = 1, to = 9999, step = 1 }\n',
            ["99,990,000 rows", "at most 10,000,000"],
        ),
        ("format = ", ["study.toml:1: Invalid value in: format ="]),
    ],
)  # fmt: skip
def test_faults_have_file_line_and_key(text, words, tmp_path):
    told = "\n".join(faults_of(tmp_path, text))
    for word in words:
        assert word in told


def test_a_fault_of_the_scenario_is_told_with_its_own_file(tmp_path):
    path = lay_out_files(tmp_path)
    (tmp_path / "site.toml").write_text("format = 1\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"site\.toml.*is missing"):
        read_study(path)


def test_a_copy_in_the_store_gives_the_same_points(tmp_path):
    study = read_study(lay_out_files(tmp_path))
    other = tmp_path / "copy"
    lay_out_files(other)
    (other / "study.toml").write_text(dump_study(study), encoding="utf-8")
    again = lay_out_points(read_study(other / "study.toml"))
    assert again.hashes == lay_out_points(study).hashes
    assert len(again) == POINTS


def test_keys_are_of_what_changes_a_figure_and_of_nothing_else(tmp_path):
    def key(old: str = "", new: str = "", text: str = HEAD + "[factors]\nskew = [1.0]\n") -> str:
        path = lay_out_files(tmp_path, text)
        site = tmp_path / "site.toml"
        site.write_text(site.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
        return lay_out_points(read_study(path)).hashes[0]

    same = key()
    assert len(same) == 64
    assert key('"Small site (invented)"', '"Another name"') == same
    assert key("replications = 2", "replications = 5") == same
    assert key("timeout_s = 300", "timeout_s = 300.0") == same
    assert key("timeout_s = 300", "timeout_s = 301") != same
    assert key("seed = 3", "seed = 4") != same
    assert key("handling_mean_s = 40", "handling_mean_s = 41") != same


def test_two_settings_never_share_a_key_unless_they_are_the_same(tmp_path):
    """Against the plain hash of the whole scenario, which is slower."""
    batch = batch_of(tmp_path, STUDY)
    plain = [content_hash(batch.scenario_at(point).content()) for point in range(len(batch))]
    assert len(set(batch.hashes)) == len(set(plain)) == POINTS


def test_a_point_is_found_by_the_beginning_of_its_key(tmp_path):
    batch = batch_of(tmp_path, STUDY)
    assert batch.find(batch.hashes[7][:16]) == 7
    for key, words in (("abc", "at least 6 digits"), ("0" * 16, "no point has it")):
        with pytest.raises(InputError, match=words):
            batch.find(key)


def test_the_schema_in_the_repository_is_the_programs():
    assert (STUDIES / "study.schema.json").read_text(encoding="utf-8") == study_schema()


def test_packaged_studies_fit_the_schema_and_can_be_laid_out():
    schema = json.loads(study_schema())
    paths = sorted(STUDIES.glob("*-study.toml"))
    assert paths
    for path in paths:
        jsonschema.validate(tomllib.loads(path.read_text(encoding="utf-8")), schema)
        assert lay_out_points(read_study(path)).rows > 0


def test_the_schema_refuses_what_the_program_refuses():
    schema = json.loads(study_schema())
    for text in (HEAD, HEAD + "[factors]\n", HEAD + "replications = 0\n[factors]\nskew = [1]\n"):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(tomllib.loads(text), schema)


_WORDS = st.sampled_from(
    [
        *'[]{}="\n.,#',
        "format",
        "title",
        "factors",
        "scenario",
        "site.toml",
        "all.timeout_s",
        "1",
        "0.5",
        "from",
    ]
)


@settings(max_examples=150, deadline=None)
@given(st.one_of(st.lists(_WORDS, max_size=40).map("".join), st.text(max_size=200)))
def test_only_our_own_error_leaves(tmp_path_factory, text):
    """Anything else would fail the test by itself."""
    folder = tmp_path_factory.mktemp("fuzz")
    for words in (text, HEAD + "[factors]\n" + text):
        with contextlib.suppress(InputError):
            batch_of(folder, words)


def test_a_table_opens_without_formulas(tmp_path):
    """Names of sites and values are the only free text of a table; both are names or numbers."""
    from sim.show.folders.batch_table import table_header, table_row

    batch = batch_of(tmp_path, STUDY)
    row = next(csv.reader([",".join(table_row(batch, 0, 0, {"energy_kwh": 1.5}))]))
    assert len(row) == len(table_header(batch))
    assert row[table_header(batch).index("energy_kwh")] == "1.5"
    assert row[-1] == ""
