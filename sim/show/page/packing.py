"""Columns of doubles as short text, without losing a bit.

Comes in: arrays.  Goes out: base64 text and how to read it.  Used by `show/page/traffic`; the other half is
files/unpack.mjs.  A double's bits are written as differences where that is shorter, byte plane by byte plane
(neighbours share their high bytes), then deflated.
"""

from __future__ import annotations

import base64
import zlib
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn

__all__ = ["pack_bytes", "pack_columns"]

Bits = NDArray[np.uint64]


def pack_columns(columns: Sequence[FloatColumn]) -> dict[str, Any]:
    """Return columns of equal length as text.

    Parameters
    ----------
    columns : doubles (n,) each

    Returns
    -------
    length : n; forms : of each column, "plain", "rise" (less the value before it) or "span" (less the column
    before it), all on the bits as whole numbers; data : base64 of the deflated byte planes
    """
    length = len(columns[0])
    forms, planes = [], []
    before: Bits | None = None
    for column in columns:
        bits: Bits = np.ascontiguousarray(column, dtype="<f8").view("<u8")
        ways = {"plain": bits, "rise": np.diff(bits, prepend=np.uint64(0))}
        if before is not None:
            ways["span"] = bits - before
        written = {form: _by_planes(numbers) for form, numbers in ways.items()}
        form = min(written, key=lambda key: len(zlib.compress(written[key], 9)))
        forms.append(form)
        planes.append(written[form])
        before = bits
    return {"length": length, "forms": forms, "data": _deflated(b"".join(planes))}


def pack_bytes(column: NDArray[np.uint8]) -> dict[str, Any]:
    """Return a column of bytes as text."""
    return {"length": len(column), "data": _deflated(column.tobytes())}


def _by_planes(numbers: Bits) -> bytes:
    """All lowest bytes, then all second bytes, and so on."""
    return np.ascontiguousarray(numbers, dtype="<u8").view(np.uint8).reshape(-1, 8).T.tobytes()


def _deflated(data: bytes) -> str:
    """Deflate (RFC 1950) and write as base64."""
    return base64.b64encode(zlib.compress(data, 9)).decode("ascii")
