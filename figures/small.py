"""The look of the three pictures side by side at the top of README.md: large type, few words.

Comes in: nothing.  Goes out: an empty figure, and a figure as PNG.  The colours and the rest of the look are
those of `sim.show.figures.style`.  A picture is drawn for a width of some 260 pixels, three dots to each.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager

from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from sim.show.figures.style import INK, style

SIZE_IN = (2.6, 2.25)
DOTS_PER_IN = 300
_LARGE = {"font.size": 8.5, "axes.labelsize": 8.5, "xtick.labelsize": 8.5, "ytick.labelsize": 8.5}


@contextmanager
def small_style() -> Iterator[None]:
    """Draw in the common look with larger type."""
    with style(), rc_context(_LARGE):
        yield


def small_figure(heading: str) -> Figure:
    """Return an empty figure with its heading."""
    figure = Figure(figsize=SIZE_IN, layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle(heading, x=0.02, ha="left", fontsize=10.0, fontweight="bold", color=INK)
    return figure


def small_png(figure: Figure) -> bytes:
    """Return a figure as PNG."""
    png = io.BytesIO()
    figure.savefig(png, format="png", dpi=DOTS_PER_IN)
    return png.getvalue()
