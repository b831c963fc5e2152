"""The paper that every figure is drawn on: size, type, colours, and how it becomes SVG or PNG.

Figures are drawn without pyplot, in matplotlib's own typeface, so the same material gives the same picture anywhere.
"""

import base64
import io
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axis import Axis
from matplotlib.figure import Figure, FigureBase
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.ticker import FuncFormatter, MaxNLocator

from proofstrip.report.words import number

INK = "#1c2226"
SOFT = "#5a646b"
FAINT = "#d5dadd"
ACCENT = "#0f5c63"
TINT = "#cfe3e4"
# Okabe and Ito's colours (2008, "Color universal design"), black left out: told apart with any colour vision.
CATEGORIES = ("#5a646b", "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#F0E442")
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "p")

STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "text.color": INK,
    "text.parse_math": False,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.labelsize": 8.5,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "axes.formatter.useoffset": False,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 8,
    "ytick.labelsize": 8.5,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "svg.fonttype": "path",
    "svg.hashsalt": "proofstrip",
    "svg.image_inline": True,
}


@dataclass(frozen=True)
class Sheet:
    """What a figure is drawn on.

    Attributes
    ----------
    width_in : float
        [inch]; at 96 dots an inch this is its width on the page, so type keeps its size.
    heading, caption : str
        Only for files that stand alone; on the page they are text.
    """

    width_in: float
    heading: str = ""
    caption: str = ""

    @property
    def is_wide(self) -> bool:
        """Whether there is room for two panels beside each other."""
        return self.width_in > 5


WIDE = Sheet(7.3)
NARROW = Sheet(3.55)


@contextmanager
def drawing() -> Iterator[None]:
    """Draw in the house style; names with a dollar sign are not formulas."""
    with mpl.rc_context(STYLE):
        yield


def new_figure(sheet: Sheet, height_in: float) -> tuple[Figure, FigureBase]:
    """Start a figure, with heading and caption where the sheet has them.

    Parameters
    ----------
    sheet : Sheet
    height_in : float
        Height of the drawing itself [inch].

    Returns
    -------
    tuple of matplotlib.figure.Figure and matplotlib.figure.FigureBase
        The whole, and the part to draw in.
    """
    extra = 0.35 * bool(sheet.heading) + 0.25 * bool(sheet.caption)
    layout = ConstrainedLayoutEngine(w_pad=0.03, h_pad=0.04)
    figure = Figure(figsize=(sheet.width_in, height_in + extra), layout=layout)
    if not sheet.heading:
        return figure, figure
    figure.suptitle(sheet.heading, x=0.01, ha="left", fontsize=11, fontweight="bold")
    figure.supxlabel(sheet.caption, x=0.01, ha="left", fontsize=7.5, color=SOFT)
    body = figure.subfigures(squeeze=False)
    return figure, body[0, 0]


def number_axis(axis: Axis, ticks: int, sign: bool = False) -> None:
    """Set round ticks on an axis, written with as many decimals as tell them apart.

    Parameters
    ----------
    axis : matplotlib.axis.Axis
    ticks : int
        Most intervals.
    sign : bool
        Write the plus of a gain.
    """

    def write(value: float, _: int | None) -> str:
        places = axis.get_majorticklocs()
        step = abs(places[1] - places[0]) if len(places) > 1 else 1.0
        return number(value, max(0, -math.floor(math.log10(step) + 1e-9)), sign)

    axis.set_major_locator(MaxNLocator(ticks, steps=[1, 2, 5, 10]))
    axis.set_major_formatter(FuncFormatter(write))


def standalone(heading: str, caption: str) -> Sheet:
    """Give the sheet of a picture that is used without the page."""
    return replace(WIDE, heading=heading, caption=caption)


def svg_uri(figure: Figure) -> str:
    """Turn a figure into a data URI of an SVG, without the addresses that the format's preamble names."""
    buffer = io.StringIO()
    with drawing():
        figure.savefig(buffer, format="svg", dpi=190, metadata={"Date": None, "Creator": None})
    drawn = re.sub(r"<metadata>.*?</metadata>", "", buffer.getvalue(), count=1, flags=re.DOTALL)
    return "data:image/svg+xml;base64," + base64.b64encode(drawn[drawn.index("<svg") :].encode()).decode("ascii")


def save_png(figure: Figure, path: Path) -> None:
    """Write a figure as PNG at 180 dots an inch, white, without a time stamp."""
    with drawing():
        figure.savefig(path, format="png", dpi=180, facecolor="white", metadata={"Software": None})
