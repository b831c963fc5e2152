"""The sheet for counting ground loss: a box a frame, the rule before anybody steps in front of the header."""

import math
from collections.abc import Sequence

import pandas as pd

from proofstrip import __version__
from proofstrip.config import Settings
from proofstrip.ground_loss import ZONES, seeds_per_ft2
from proofstrip.report.html import fill_template
from proofstrip.report.words import number
from proofstrip.units import M_PER_FT

HEADINGS = {"preharvest": "Standing crop", "header": "Header", "total": "Behind"}
FT2 = M_PER_FT**2
FRAME_M2 = {"us": FT2, "metric": 0.25}


def render_counting_sheet(settings: Settings, strips: Sequence[str], frames: int, frame_m2: float) -> str:
    """Set the sheet; it names no treatment, so that who counts does not know it.

    Parameters
    ----------
    settings : Settings
    strips : sequence of str
        In the order of the trial map.
    frames : int
        Frames of each zone of a strip.
    frame_m2 : float
        [m2]

    Returns
    -------
    str
        HTML, self-contained.
    """
    trial, us = settings.trial, settings.report.units == "us"
    part = settings.ground_loss
    grams = (part.thousand_kernel_g if part else None) or trial.crop.thousand_kernel_weight_g
    seeds, rate = _seeds_of_rate(settings, grams, frame_m2)
    return fill_template(
        "report/counting.html",
        {
            "name": trial.name,
            "place": trial.field,
            "crop": trial.crop.name.replace("_", " "),
            "season": trial.season,
            "invented": "invented" in trial.notes.lower(),
            "strips": list(strips),
            "zones": [HEADINGS[zone] for zone in ZONES],
            "frames": frames,
            "frame": _say_frame(frame_m2, us),
            "seeds": f"{number(seeds, 1 if seeds < 20 else 0)} seeds",
            "rate": rate,
            "grams": number(grams, 1).removesuffix(".0"),
            "back": "15 ft" if us else "5 m",
            "version": __version__,
        },
    )


def list_frames(strips: Sequence[str], frames: int, frame_m2: float, units: str) -> pd.DataFrame:
    """List the frames to be counted, the seeds left open.

    Parameters
    ----------
    strips : sequence of str
    frames : int
    frame_m2 : float
        [m2]
    units : {'us', 'metric'}

    Returns
    -------
    pandas.DataFrame
        Columns as ``read.read_counts`` knows them.
    """
    unit, factor = ("ft2", FT2) if units == "us" else ("m2", 1.0)
    rows = [(strip, zone, frame + 1, "") for strip in strips for zone in ZONES for frame in range(frames)]
    table = pd.DataFrame(rows, columns=["Strip", "Zone", "Frame", "Seeds"])
    return table.assign(**{f"Frame area ({unit})": float(f"{frame_m2 / factor:.6g}")})


def _seeds_of_rate(settings: Settings, grams: float, frame_m2: float) -> tuple[float, str]:
    """Give the seeds on a frame that are one bushel an acre, or 100 kilograms a hectare."""
    bushel_lb = settings.trial.crop.bushel_lb
    if settings.report.units == "us" and bushel_lb is not None:
        return seeds_per_ft2(bushel_lb, grams) * frame_m2 / FT2, "1 bushel an acre"
    if settings.report.units == "us":
        return seeds_per_ft2(100.0, grams) * frame_m2 / FT2, "100 pounds an acre"
    return 100 * 100 / grams * frame_m2, "100 kg/ha"


def _say_frame(frame_m2: float, us: bool) -> str:
    """Say the size of the frame, and the side of a square one."""
    if us:
        side, feet = 12 * math.sqrt(frame_m2 / FT2), f"{frame_m2 / FT2:.3g}"
        return f"{feet} square {'foot' if feet == '1' else 'feet'} (a square one: {side:.3g} inches a side)"
    return f"{frame_m2:.3g} square metres (a square one: {100 * math.sqrt(frame_m2):.3g} cm a side)"
