"""Draw the pictures that README.md shows: `python figures/draw.py`.

Comes in: the default packaged site.  Goes out: PNG files beside this script.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import sim
from sim.show.figures import draw_figures

SHOWN = ("hour.png", "power.png")


def main() -> None:
    """Run the site and keep the pictures that are shown."""
    result = sim.run(sim.load())
    with tempfile.TemporaryDirectory() as folder:
        for path in draw_figures(result, Path(folder)):
            if path.name in SHOWN:
                (Path(__file__).parent / path.name).write_bytes(path.read_bytes())


if __name__ == "__main__":
    main()
