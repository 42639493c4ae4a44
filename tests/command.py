"""The command line in this process, as tests of commands call it."""

from __future__ import annotations

import pytest

from sim.cli import main


def call(*words: str) -> int:
    """Run the command and return its exit code."""
    with pytest.raises(SystemExit) as ended:
        main(list(words))
    assert isinstance(ended.value.code, int)
    return ended.value.code
