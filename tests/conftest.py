"""What holds for all tests."""

from __future__ import annotations

import signal


def pytest_configure() -> None:
    """Let Ctrl-C reach the commands that tests start.

    A shell starts its background jobs with interrupts ignored, and what is ignored stays so in every child.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
