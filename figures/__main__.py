"""`python -m figures [NAME ...]`: compute the numbers again and draw the pictures, all or those named.

Comes in: the packaged sites and the study beside them.  Goes out: NAME.csv and NAME.png in this folder.
"""

from __future__ import annotations

import sys
from importlib import import_module

from figures.tables import NAMES, picture_path, read_table, save_picture, table_path, write_table


def main(asked: list[str]) -> int:
    """Make what was asked for; return the exit code."""
    unknown = [name for name in asked if name not in NAMES]
    if unknown:
        print(f"{', '.join(unknown)}: no such picture; there are {', '.join(NAMES)}", file=sys.stderr)
        return 2
    for name in asked or NAMES:
        module = import_module(f"figures.{name}")
        write_table(module.compute(), table_path(name))
        save_picture(module.draw(read_table(table_path(name))), name)
        sizes = [f"{path.name} {path.stat().st_size / 1000:.0f} kB"
                 for path in (table_path(name), picture_path(name))]
        print(", ".join(sizes))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
