"""Whatever way the project was got, its command and its packaged sites work, from any folder."""

from __future__ import annotations

import os
import tarfile
import zipfile
from pathlib import Path

import pytest

from tests.house.test_start import TINY
from tests.package.places import build, copy_source, install, make_environment, run, run_well

SITES = ("cross-dock", "narrow-aisles", "pallet-reserve")


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project in a folder with blanks and letters beyond ASCII."""
    return copy_source(tmp_path_factory.mktemp("from") / "Halle Süd 倉庫")


@pytest.fixture(scope="module")
def built(source: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Wheel and sdist."""
    return build(source, tmp_path_factory.mktemp("built"))


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A working folder with blanks and letters beyond ASCII."""
    folder = tmp_path / "Büro 2, Ablage"
    folder.mkdir()
    return folder


def _command(commands: Path) -> Path:
    return commands / ("aislewake.exe" if os.name == "nt" else "aislewake")


def _python(commands: Path) -> Path:
    return commands / ("python.exe" if os.name == "nt" else "python")


def _home_of_sim(commands: Path, place: Path) -> Path:
    return Path(run_well(_python(commands), "-c", "import sim; print(sim.__file__)", folder=place).strip())


def _try_sites(commands: Path, place: Path) -> None:
    listed = run_well(_command(commands), "demo", folder=place)
    assert all(f"{name}" in listed for name in SITES)
    assert "(the default)" in listed
    run_well(_command(commands), "demo", "cross-dock", "--out", "mein Lager.toml", folder=place)
    assert "Cross-dock" in run_well(_command(commands), "check", "mein Lager.toml", folder=place)


def test_wheel_runs(built: dict[str, Path], tmp_path: Path, place: Path) -> None:
    commands = make_environment(tmp_path / "environment")
    install(commands, built["wheel"])
    assert _home_of_sim(commands, place).is_relative_to(tmp_path)
    assert run_well(_command(commands), "--version", folder=place).startswith("aislewake")
    _try_sites(commands, place)
    (place / "winzig ü.toml").write_text(TINY, encoding="utf-8")
    told = run_well(_command(commands), "run", "winzig ü.toml", "--out", "Ergebnis ü 1", folder=place)
    assert "Results: " in told
    assert "Ergebnis ü 1" in told
    assert (place / "Ergebnis ü 1" / "report.html").stat().st_size > 10_000
    assert (
        run(_command(commands), "run", "winzig ü.toml", "--out", "Ergebnis ü 1", folder=place).returncode == 2
    )


def test_sdist_installs(built: dict[str, Path], tmp_path: Path, place: Path) -> None:
    commands = make_environment(tmp_path / "environment")
    install(commands, built["sdist"])
    assert _home_of_sim(commands, place).is_relative_to(tmp_path)
    _try_sites(commands, place)


def test_editable_install_works(source: Path, tmp_path: Path, place: Path) -> None:
    commands = make_environment(tmp_path / "environment")
    install(commands, "--editable", source)
    assert _home_of_sim(commands, place).is_relative_to(source)
    _try_sites(commands, place)


def test_bare_folder_works(source: Path, tmp_path: Path, place: Path) -> None:
    commands = make_environment(tmp_path / "environment")
    listed = run_well(_python(commands), "-m", "sim", "demo", folder=place, python_path=source)
    assert all(name in listed for name in SITES)
    run_well(_python(commands), "-m", "sim", "check", "narrow-aisles", folder=place, python_path=source)


def test_wheel_holds_what_it_needs_and_no_more(built: dict[str, Path]) -> None:
    names = zipfile.ZipFile(built["wheel"]).namelist()
    assert {f"sim/scenarios/{name}.toml" for name in SITES} <= set(names)
    assert {"sim/py.typed", "sim/scenarios/README.md", "sim/scenarios/scenario.schema.json"} <= set(names)
    assert {name.partition("/")[0].partition("-")[0] for name in names} == {"sim", "aislewake"}
    assert not [name for name in names if "__pycache__" in name or "/tests/" in name]
    assert any(name.endswith("licenses/LICENSE") for name in names)


def test_sdist_holds_the_tests_too(built: dict[str, Path]) -> None:
    with tarfile.open(built["sdist"]) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "tests/package/places.py"} <= names
    assert {f"scenarios/{name}.toml" for name in SITES} <= names
