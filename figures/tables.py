"""The form of the gallery's files: a table as CSV, a picture that knows which table it was drawn from.

Comes in: tables and PNG bytes.  Goes out: files in this folder.  Used by every picture's script and by
`tests/house/test_gallery.py`.

A table's first line is a comment: the NumPy it was drawn with, and a digest of what NumPy's generator draws.
NumPy may change its draws from version to version (NEP 19); where the digest is another one, another sample
of the same traffic has to be expected, and figures agree within their own intervals only.
"""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import numpy as np
import pandas as pd
from PIL import Image
from PIL.PngImagePlugin import PngInfo

FOLDER = Path(__file__).resolve().parent
NAMES = ("hour", "front", "power", "page", "study")
MARK = "Table"
"""Keyword of the text in a PNG file that holds the digest of its table."""

DIGITS = 12
COLOURS = 128
"""So few colours that a picture stays small, and so many that nobody sees it."""


def table_path(name: str) -> Path:
    """Return where a picture's numbers stand."""
    return FOLDER / f"{name}.csv"


def picture_path(name: str) -> Path:
    """Return where a picture stands."""
    return FOLDER / f"{name}.png"


def stream_digest() -> str:
    """Return a digest of what NumPy's generator draws, by the methods that the traffic uses."""
    rng = np.random.default_rng(np.random.SeedSequence(11, spawn_key=(0, 1)))
    draws = [
        rng.random(500), rng.integers(0, 97, 500), rng.poisson(3.5, 500), rng.poisson(60.0, 500),
        rng.standard_normal(500), rng.standard_gamma(0.7, 500), rng.standard_gamma(4.0, 500),
        rng.choice(50, 20, replace=False),
    ]
    text = ",".join(f"{value:.9g}" for part in draws for value in part.tolist())
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def write_table(table: pd.DataFrame, path: Path) -> None:
    """Write a table under a line that says what it was drawn with."""
    body = table.to_csv(index=False, float_format=f"%.{DIGITS}g", lineterminator="\n")
    head = f"# drawn with NumPy {np.__version__}, stream {stream_digest()}\n"
    path.write_text(head + body, encoding="utf-8", newline="\n")


def read_table(path: Path) -> pd.DataFrame:
    """Read a table; text stays text, and what is empty is nan or ""."""
    table = pd.read_csv(path, skiprows=1)
    words = table.select_dtypes(exclude="number").columns
    return table.fillna(dict.fromkeys(words, ""))


def stream_of(path: Path) -> str:
    """Return the digest of the draws that a table was made with."""
    with path.open(encoding="utf-8") as file:
        return file.readline().rstrip("\n").rpartition(" ")[2]


def table_digest(path: Path) -> str:
    """Return the digest of a table's bytes."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def save_picture(png: bytes, name: str) -> None:
    """Write a picture with few colours and the digest of its table."""
    info = PngInfo()
    info.add_text(MARK, table_digest(table_path(name)))
    image = Image.open(io.BytesIO(png)).convert("RGB")
    few = image.quantize(COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(picture_path(name), optimize=True, pnginfo=info)


def picture_mark(path: Path) -> str | None:
    """Return the digest that a picture holds, None where it has none."""
    with Image.open(path) as image:
        mark = image.info.get(MARK)
    return mark if isinstance(mark, str) else None
