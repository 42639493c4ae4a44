"""Who computed a result: versions, model number and the content hash of the scenario."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Mapping
from importlib import metadata
from typing import Any

__all__ = ["MODEL_VERSION", "content_hash", "package_version", "versions"]

MODEL_VERSION = 4
"""Raised whenever results change on purpose; stands in every result and in every content hash."""


def package_version() -> str:
    """Return the installed distribution's version, or "0+source" when run from a bare folder."""
    try:
        return metadata.version("aislewake")
    except metadata.PackageNotFoundError:
        return "0+source"


def versions() -> dict[str, str]:
    """Return the versions that decide a result's digits."""
    libraries = {name: metadata.version(name) for name in ("numpy", "simpy", "pydantic")}
    return {
        "aislewake": package_version(),
        "model": str(MODEL_VERSION),
        "python": platform.python_version(),
        **libraries,
    }


def content_hash(content: Mapping[str, Any]) -> str:
    """Return the sha256 of a resolved scenario's canonical JSON, its title left out.

    Two files that resolve to the same site have the same hash, whatever their comments and layout.
    """
    kept = {key: value for key, value in content.items() if key != "title"}
    text = json.dumps([MODEL_VERSION, kept], sort_keys=True, separators=(",", ":"), default=str)
    return hashlib.sha256(text.encode()).hexdigest()
