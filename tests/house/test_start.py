"""What the command costs before it works, and that it works where Unix modules are missing.

Whether something was imported is asked of `sys.modules`, never of a clock.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house.source import ROOT

HEAVY = ("pandas", "matplotlib", "scipy", "bokeh", "simpy", "jinja2", "tqdm")
"""Never needed to show help or to check a file."""

_RUN_AND_TELL = """
import json, sys
from sim.cli import main
try:
    main({arguments!r})
except SystemExit as end:
    code = end.code
print()
print(json.dumps([code, sorted(name for name in sys.modules if "." not in name)]))
"""

_HIDE = """
import sys
class Absent:
    def find_spec(self, name, path=None, target=None):
        if name in {hidden!r}:
            raise ModuleNotFoundError("no module named " + name, name=name)
        return None
sys.meta_path.insert(0, Absent())
for name in {hidden!r}:
    sys.modules.pop(name, None)
"""

UNIX_ONLY = ("fcntl", "resource", "termios", "pwd", "grp", "tty", "pty", "syslog")

TINY = """
format = 1
title = "tiny"
start = 2027-03-01
days = 0.25
replications = 2
[floor]
aisles = 2
aisle_length_m = 20.0
aisle_pitch_m = 5.0
[luminaires]
per_aisle = 3
full_w = 100.0
[sensors]
at = "ends"
range_m = 5.0
[lighting.settings.day]
unoccupied_level = 0.3
timeout_s = 120
[[timetable]]
from = "00:00"
to = "24:00"
settings = "day"
[[trucks]]
name = "reach"
count = 2
speed_laden_m_per_s = 2.0
speed_empty_m_per_s = 2.5
handling_mean_s = 20
[[shifts]]
trucks = "reach"
from = "00:00"
to = "24:00"
crew = 2
[[work]]
name = "out"
kind = "retrieve"
per_hour = 20
aisle_skew = 1.0
"""


def run_python(code: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run code in a fresh interpreter that finds this source."""
    return subprocess.run(
        [sys.executable, "-X", "utf8", "-c", f"import sys; sys.path.insert(0, {str(ROOT)!r})\n{code}"],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )


def loaded_by(arguments: list[str], folder: Path) -> tuple[int, set[str]]:
    """Return the exit code of a command and the top-level modules that it loaded."""
    done = run_python(_RUN_AND_TELL.format(arguments=arguments), folder)
    assert done.returncode == 0, done.stderr
    code, names = json.loads(done.stdout.splitlines()[-1])
    return code, set(names)


@pytest.mark.parametrize("arguments", [["--help"], ["run", "--help"], ["--version"]], ids=" ".join)
def test_help_loads_nothing_heavy(arguments: list[str], tmp_path: Path) -> None:
    code, loaded = loaded_by(arguments, tmp_path)
    assert code == 0
    assert not loaded & {*HEAVY, "numpy", "pydantic"}


@pytest.mark.parametrize("arguments", [["check", "cross-dock"], ["demo"], ["schema"]], ids=" ".join)
def test_check_loads_nothing_heavy(arguments: list[str], tmp_path: Path) -> None:
    code, loaded = loaded_by(arguments, tmp_path)
    assert code == 0
    assert not loaded & set(HEAVY)


def test_a_faulty_file_loads_nothing_heavy(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text("format = 1\n", encoding="utf-8")
    code, loaded = loaded_by(["check", "bad.toml"], tmp_path)
    assert code == 2
    assert not loaded & set(HEAVY)


def test_import_of_sim_loads_nothing(tmp_path: Path) -> None:
    done = run_python("import sim; print(sorted(name for name in sys.modules if name == 'numpy'))", tmp_path)
    assert done.stdout.strip() == "[]"


def test_a_worker_loads_neither_pandas_nor_pictures(tmp_path: Path) -> None:
    """A worker that imports pandas starts late; workers import what the event simulation needs."""
    code = "import json, sim.study.replications.replicate\nprint(json.dumps(sorted(sys.modules)))"
    done = run_python(code, tmp_path)
    assert done.returncode == 0, done.stderr
    assert not set(json.loads(done.stdout)) & {"pandas", "matplotlib", "scipy", "click"}


def test_a_run_needs_no_unix_module(tmp_path: Path) -> None:
    """As on Windows: a whole run and a replay of its logs, with Unix-only modules hidden."""
    (tmp_path / "tiny.toml").write_text(TINY, encoding="utf-8")
    hide = _HIDE.format(hidden=UNIX_ONLY)
    logs = ["--detections", "out/detections.csv", "--visits", "out/visits.csv"]
    for arguments in (["run", "tiny.toml", "--out", "out"], ["replay", "tiny.toml", *logs, "--out", "again"]):
        done = run_python(hide + _RUN_AND_TELL.format(arguments=arguments), tmp_path)
        assert done.returncode == 0, done.stderr
        code, loaded = json.loads(done.stdout.splitlines()[-1])
        assert code == 0, done.stdout + done.stderr
        assert not set(loaded) & set(UNIX_ONLY)
    assert (tmp_path / "out" / "report.html").is_file()
    assert (tmp_path / "again" / "summary.json").is_file()


def test_the_hiding_hides(tmp_path: Path) -> None:
    done = run_python(_HIDE.format(hidden=UNIX_ONLY) + "import fcntl", tmp_path)
    assert done.returncode == 1
    assert "no module named fcntl" in done.stderr
