"""Surroundings that a command meets on other people's machines: exit codes hold, no traceback, nothing torn.

Comes in: the command as a process of its own.  Each case changes one thing about the process: its streams,
its language, its home, its folder, the names of its files.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house.source import ROOT
from tests.house.test_start import TINY

START = [
    sys.executable,
    "-c",
    f"import sys; sys.path.insert(0, {str(ROOT)!r}); from sim.cli import main; main()",
]
ONLY_POSIX = pytest.mark.skipif(os.name == "nt", reason="the case is made with POSIX permissions or devices")


def surroundings(**changes: str | None) -> dict[str, str]:
    """The environment of this process with some variables set, or taken away where None."""
    mine = {**os.environ, "PYTHONPATH": str(ROOT)}
    for name, value in changes.items():
        mine.pop(name, None)
        if value is not None:
            mine[name] = value
    return mine


def call(
    *words: str, folder: Path, input_bytes: bytes | None = None, **changes: str | None
) -> subprocess.CompletedProcess[bytes]:
    """Run the command; bytes, since the case may be about encodings."""
    return subprocess.run(
        [*START, *words],
        cwd=folder,
        env=surroundings(**changes),
        input=input_bytes,
        capture_output=True,
        timeout=300,
        check=False,
    )


def is_calm(done: subprocess.CompletedProcess[bytes], code: int = 0) -> None:
    """The exit code is the promised one, and no traceback is shown."""
    told = (done.stdout + done.stderr).decode("utf-8", "replace")
    assert done.returncode == code, told
    assert "Traceback" not in told
    assert "Exception ignored" not in told


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder with a small scenario."""
    (tmp_path / "tiny.toml").write_text(TINY, encoding="utf-8")
    return tmp_path


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The results of the small scenario where nothing is out of the ordinary."""
    folder = tmp_path_factory.mktemp("usual")
    (folder / "tiny.toml").write_text(TINY, encoding="utf-8")
    is_calm(call("run", "tiny.toml", "--out", "here", folder=folder))
    return folder / "here"


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param(
            {"LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}, id="lang-c"
        ),
        pytest.param({"LC_ALL": "POSIX", "PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii"}, id="ascii-streams"),
        pytest.param({"PYTHONIOENCODING": "cp1252"}, id="cp1252", marks=pytest.mark.slow),
        pytest.param(
            {"LANG": None, "LC_ALL": None, "TERM": None, "COLUMNS": None},
            id="no-language",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            {"TERM": "dumb", "NO_COLOR": "1", "COLUMNS": "1"}, id="dumb-terminal", marks=pytest.mark.slow
        ),
        pytest.param(
            {"HOME": "/nonexistent", "XDG_CACHE_HOME": "/nonexistent", "MPLCONFIGDIR": None}, id="no-home"
        ),
        pytest.param({"TZ": "Pacific/Kiritimati"}, id="far-zone", marks=pytest.mark.slow),
        pytest.param(
            {"PYTHONHASHSEED": "7", "PYTHONOPTIMIZE": "2"}, id="optimised", marks=pytest.mark.slow
        ),
    ],
)
def test_a_run_in_other_surroundings(usual: Path, place: Path, changes: dict[str, str | None]) -> None:
    """The same figures come out wherever it runs."""
    is_calm(call("run", "tiny.toml", "--out", "there", folder=place, **changes))
    assert {path.name for path in usual.iterdir()} == {path.name for path in (place / "there").iterdir()}
    for name in ("replications.csv", "zones.csv", "visits.csv"):
        assert (usual / name).read_bytes() == (place / "there" / name).read_bytes()
    is_calm(call("check", "tiny.toml", folder=place, **changes))
    is_calm(call("check", "missing.toml", folder=place, **changes), code=2)


def test_names_beyond_ascii_where_the_stream_knows_only_ascii(place: Path) -> None:
    """A fault names a file that the terminal cannot show: it is told all the same, exit 2."""
    (place / "Lager 倉庫 ü.toml").write_text(TINY.replace("format = 1", "format = 9"), encoding="utf-8")
    for changes in ({"PYTHONIOENCODING": "ascii"}, {"PYTHONIOENCODING": "cp1252"}):
        is_calm(call("check", "Lager 倉庫 ü.toml", folder=place, **changes), code=2)


@ONLY_POSIX
def test_the_reader_of_the_output_is_gone(place: Path) -> None:
    """As `aislewake check site | head -1`."""
    for words in (["check", "tiny.toml"], ["schema"], ["--help"], ["run", "tiny.toml", "--out", "piped"]):
        read_end, write_end = os.pipe()
        os.close(read_end)
        try:
            done = subprocess.run(
                [*START, *words],
                cwd=place,
                env=surroundings(),
                stdout=write_end,
                stderr=subprocess.PIPE,
                timeout=300,
                check=False,
            )
        finally:
            os.close(write_end)
        assert done.returncode == 0, done.stderr
        assert b"Traceback" not in done.stderr
        assert b"Exception ignored" not in done.stderr


@ONLY_POSIX
def test_no_streams_at_all(place: Path) -> None:
    """Started from a scheduler that closed them."""
    code = "import os, sys; os.close(0); os.close(1); os.close(2); os.execv(sys.argv[1], sys.argv[1:])"
    done = subprocess.run(
        [sys.executable, "-c", code, *START, "run", "tiny.toml", "--out", "quiet"],
        cwd=place,
        env=surroundings(),
        timeout=300,
        check=False,
    )
    assert done.returncode == 0
    assert (place / "quiet" / "report.html").is_file()


@ONLY_POSIX
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this machine has no /dev/full")
def test_the_output_stream_is_full(place: Path) -> None:
    """`aislewake schema > FILE` on a full disk: exit 4 and one line, not a traceback."""
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [*START, "schema"],
            cwd=place,
            env=surroundings(),
            stdout=full,
            stderr=subprocess.PIPE,
            timeout=300,
            check=False,
        )
    assert done.returncode == 4, done.stderr
    assert b"Traceback" not in done.stderr
    assert b"Exception ignored" not in done.stderr


@pytest.mark.parametrize(
    "name", ["mit Leer zeichen", "naïve ☃ 倉庫", "-dash", "a'b\"c" if os.name != "nt" else "a'b"]
)
def test_odd_names_of_folders_and_files(tmp_path: Path, name: str) -> None:
    folder = tmp_path / name
    folder.mkdir()
    (folder / f"{name}.toml").write_text(TINY, encoding="utf-8")
    is_calm(call("run", "--out", f"{name} out", "--", f"{name}.toml", folder=folder))
    assert (folder / f"{name} out" / "report.html").is_file()


@ONLY_POSIX
def test_a_working_folder_that_is_gone(place: Path) -> None:
    gone = place / "gone"
    gone.mkdir()
    code = "import os, sys; os.rmdir(sys.argv[1]); os.execv(sys.argv[2], sys.argv[2:])"
    for words, exit_codes in (
        (["check", str(place / "tiny.toml")], (0,)),
        (["run", str(place / "tiny.toml"), "--out", "somewhere"], (4,)),
    ):
        gone.mkdir(exist_ok=True)
        done = subprocess.run(
            [sys.executable, "-c", code, str(gone), *START, *words],
            cwd=gone,
            env=surroundings(),
            capture_output=True,
            timeout=300,
            check=False,
        )
        assert done.returncode in exit_codes, done.stderr
        assert b"Traceback" not in done.stderr


@ONLY_POSIX
@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_not_be_written(place: Path) -> None:
    place.chmod(0o555)
    try:
        done = call("run", "tiny.toml", "--out", "results", folder=place)
    finally:
        place.chmod(0o755)
    is_calm(done, code=4)
    assert not (place / "results").exists()


def test_a_target_under_a_file(place: Path) -> None:
    """The folder asked for would lie inside a file."""
    done = call("run", "tiny.toml", "--out", "tiny.toml/results", folder=place)
    told = (done.stdout + done.stderr).decode("utf-8", "replace")
    assert done.returncode in (2, 4), told
    assert "Traceback" not in told
    assert (place / "tiny.toml").read_text(encoding="utf-8") == TINY


def test_a_folder_as_scenario_and_a_scenario_as_log(place: Path) -> None:
    is_calm(call("check", ".", folder=place), code=2)
    is_calm(call("replay", "tiny.toml", "--visits", "tiny.toml", "--out", "x", folder=place), code=2)
    is_calm(call("replay", "tiny.toml", "--visits", ".", "--out", "x", folder=place), code=2)
    assert not (place / "x").exists()
