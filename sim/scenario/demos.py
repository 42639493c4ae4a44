"""The packaged demonstration sites: where they lie, whatever way the package was installed.

Comes in: a name.  Goes out: a path.  In a source folder they lie beside `sim/`, in a wheel inside it.
"""

from __future__ import annotations

from pathlib import Path

__all__ = ["DEFAULT_DEMO", "demo_folder", "demo_paths", "find_scenario"]

DEFAULT_DEMO = "pallet-reserve"


def demo_folder() -> Path:
    """Return the folder of the packaged scenarios."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "scenarios"
    return inside if inside.is_dir() else package.parent / "scenarios"


def demo_paths() -> dict[str, Path]:
    """Return every packaged scenario by name."""
    return {path.stem: path for path in sorted(demo_folder().glob("*.toml"))}


def find_scenario(given: str | Path | None) -> Path:
    """Return the file a user means: a path, the name of a packaged scenario, or None for the default one.

    A path that does not exist is returned as it is; reading it tells.
    """
    if given is None:
        return demo_paths()[DEFAULT_DEMO]
    path = Path(given)
    return path if path.exists() else demo_paths().get(str(given), path)
