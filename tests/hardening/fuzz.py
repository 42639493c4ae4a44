"""Coverage-guided fuzzing of one reader: `python -m tests.hardening.fuzz scenario -max_total_time=60`.

Needs atheris, which the tests do not (`python -m pip install atheris`, Linux and macOS).  Ends with an error
when anything but an InputError leaves the reader; the bytes that did it are left in a file beside the corpus.
What follows the reader's name goes to libFuzzer.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path


def main() -> None:
    """Fuzz the reader named first on the command line."""
    import atheris

    with atheris.instrument_imports(include=["sim"]):
        from tests.hardening.readers import READERS
        from tests.hardening.test_readers import try_reader
    name, *options = sys.argv[1:]
    if name not in READERS:
        sys.exit(f"{name}: no such reader; there are {', '.join(READERS)}")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        seeds = folder / "seeds"
        seeds.mkdir()
        (seeds / "good").write_bytes(READERS[name].good)

        def once(data: bytes) -> None:
            try_reader(name, data, folder)

        atheris.Setup([sys.argv[0], *options, str(seeds)], once)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
