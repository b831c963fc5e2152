"""What a trial and its versions are called in an archive."""

import hashlib
import json
import re
import unicodedata
from dataclasses import dataclass

from proofstrip.archive.runs import FinishedRun
from proofstrip.record import plain_settings

MOST_LETTERS = 48
# Of SHA-256, for names: two of a million trials meet with a chance of 1 in 500 for 48 bits.
DIGITS = 12
OUTPUTS = ("points.parquet", "strips.csv", "result.json")


@dataclass(frozen=True)
class Naming:
    """How one item of an archive is called.

    Attributes
    ----------
    slug : str
        Of the trial: the folder of all its versions.
    version : int
        From 1.
    content : str
        SHA-256 of what makes the run what it is.
    trial : str
    season : int
    crop, crs : str
        ``crs`` as authority and code, of the eastings and northings.
    """

    slug: str
    version: int
    content: str
    trial: str
    season: int
    crop: str
    crs: str

    @property
    def folder(self) -> str:
        """Place in the archive."""
        return f"trials/{self.slug}/v{self.version}-{self.content[:DIGITS]}"

    @property
    def item(self) -> str:
        """Name of the item, one in the archive."""
        return f"{self.slug}-v{self.version}-{self.content[:DIGITS]}"


def name_trial(name: str, field: str, season: int) -> str:
    """Make a folder name of a trial: readable, in plain letters, and of this trial alone.

    Parameters
    ----------
    name, field : str
    season : int

    Returns
    -------
    str

    Examples
    --------
    >>> name_trial("Strip trial / Süd", "", 2024)
    'strip-trial-sud-2024-ca54d6'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    words = re.sub(r"[^a-z0-9]+", "-", plain)[:MOST_LETTERS].strip("-") or "trial"
    own = hashlib.sha256(json.dumps([name, field, season]).encode()).hexdigest()[:6]
    return f"{words}-{season}-{own}"


def hash_content(run: FinishedRun) -> str:
    """Hash what makes a run what it is: raw files, settings, licence, and what came out for programs.

    Parameters
    ----------
    run : FinishedRun

    Returns
    -------
    str
        SHA-256; times, version of the program and the report have no part in it.
    """
    made = {row["file"]: row["sha256"] for row in run.record["outputs"]}
    parts = [
        sorted((raw.role, raw.name, raw.sha256) for raw in run.raw),
        plain_settings(run.settings),
        [made[name] for name in OUTPUTS],
    ]
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()
