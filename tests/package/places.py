"""Ways to get the project, built and installed without a network.

Comes in: this source folder.  Goes out: interpreters that see the project installed in one way or another.
A new environment sees the libraries of this one, behind its own: only the project itself is installed anew.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
SOURCE = (
    "sim",
    "scenarios",
    "tests/__init__.py",
    "tests/package",
    "figures",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
)


def run(
    *command: str | Path, folder: Path, python_path: Path | None = None
) -> subprocess.CompletedProcess[str]:
    """Run a command in a folder, without the settings that a developer may have."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "PIP_"))}
    extra = {"PYTHONUTF8": "1", "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    if python_path is not None:
        extra["PYTHONPATH"] = str(python_path)
    return subprocess.run(
        [str(word) for word in command],
        cwd=folder,
        env={**kept, **extra},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )


def run_well(*command: str | Path, folder: Path, python_path: Path | None = None) -> str:
    """Run a command that must succeed; return what it printed."""
    done = run(*command, folder=folder, python_path=python_path)
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def copy_source(folder: Path) -> Path:
    """Copy the project into a folder, so that nothing is built in the source itself."""
    for name in SOURCE:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, folder / name)
    return folder


def build(source: Path, out: Path) -> dict[str, Path]:
    """Build wheel and sdist with the backend that pyproject names."""
    run_well(
        sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-t", "sdist", "-d", out, folder=source
    )
    (wheel,), (sdist,) = out.glob("*.whl"), out.glob("*.tar.gz")
    return {"wheel": wheel, "sdist": sdist}


def make_environment(folder: Path) -> Path:
    """Make an environment that sees this one's libraries behind its own; return its folder of commands."""
    venv.create(folder, with_pip=False)
    base = {"base": str(folder), "platbase": str(folder)}
    own = Path(sysconfig.get_path("purelib", "venv", vars=base))
    shared = [sysconfig.get_path("purelib"), sysconfig.get_path("platlib")]
    # plain lines of a .pth file are searched last, and .pth files in those folders are not obeyed
    (own / "shared.pth").write_text("\n".join(dict.fromkeys(shared)) + "\n", encoding="utf-8")
    return Path(sysconfig.get_path("scripts", "venv", vars=base))


def install(commands: Path, *what: str | Path) -> None:
    """Install the project alone into an environment."""
    python = commands / ("python.exe" if os.name == "nt" else "python")
    options = ("--no-deps", "--no-index", "--no-build-isolation", "--force-reinstall", "--quiet")
    run_well(
        sys.executable, "-m", "pip", "--python", python, "install", *options, *what, folder=commands.parent
    )
