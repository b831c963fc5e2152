"""What cleaning would find in a raw file, before there is a trial: passes, header switch, travel delay, faults."""

from dataclasses import dataclass
from pathlib import Path

from proofstrip.clean import Delay, clean_points, confirm_widths, estimate_delays, follow_machines
from proofstrip.config import HarvestPart, load_defaults
from proofstrip.crops import Crop
from proofstrip.errors import Notice
from proofstrip.flags import count_flags
from proofstrip.read import read_harvest


@dataclass(frozen=True)
class Preview:
    """What cleaning finds with the shipped settings.

    Attributes
    ----------
    passes : int
    usable_share : float
        Share of the records that no flag excludes.
    delays : tuple of Delay
    faults : dict of str to int
        Flag -> records, those that occur.
    header : tuple of Notice
        Where the header switch was not taken as logged.
    """

    passes: int
    usable_share: float
    delays: tuple[Delay, ...]
    faults: dict[str, int]
    header: tuple[Notice, ...] = ()


def preview_file(path: Path, crop: Crop | None = None) -> Preview:
    """Clean one raw file that leaves nothing to settle; writes nothing.

    Parameters
    ----------
    path : pathlib.Path
    crop : Crop or None

    Returns
    -------
    Preview

    Raises
    ------
    DataError
        When the file cannot be used as it is, or no pass can be followed.
    """
    points = read_harvest(HarvestPart.model_validate({"files": (str(path.resolve()),)}), path.parent, crop).points
    settings = load_defaults().clean
    track = follow_machines(points, settings)
    delays = estimate_delays(points, track, settings, None)
    track = confirm_widths(points, track, delays, settings)
    cleaned = clean_points(points, track, delays, settings)
    faults = {name: count for name, count in count_flags(cleaned["flags"]).items() if count}
    passes = int(cleaned.loc[cleaned["pass_id"] > 0, "pass_id"].nunique())
    return Preview(passes, float(cleaned["usable"].mean()), delays, faults, track.notices)
