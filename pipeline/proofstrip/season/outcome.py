"""What became of one trial of a season."""

from dataclasses import dataclass, field
from typing import Any, Literal

State = Literal["ran", "unchanged", "refused", "failed", "killed"]
STATES: dict[State, str] = {
    "ran": "ran",
    "unchanged": "nothing had changed since its last run",
    "refused": "cannot be run as it is: its files or settings need mending",
    "failed": "stopped by a fault of the program",
    "killed": "its process was stopped from outside, twice: out of memory?",
}


@dataclass(frozen=True)
class Task:
    """One trial to run.

    Attributes
    ----------
    name : str
        Its folder below the season's, with forward slashes.
    folder, out : str
        Addresses of the trial's folder and of its run folder.
    rerun : bool
        Run it though nothing has changed.
    """

    name: str
    folder: str
    out: str
    rerun: bool = False


@dataclass(frozen=True)
class Outcome:
    """What became of it.

    Attributes
    ----------
    name : str
        As in ``Task``.
    state : str
        A key of ``STATES``.
    message : str
        The reason, where there is no new run; of a fault of the program with its traceback.
    seconds : float
    entry : dict
        What the season's page shows of result.json: see ``shorten``; empty where there is no run.
    """

    name: str
    state: State
    message: str = ""
    seconds: float = 0.0
    entry: dict[str, Any] = field(default_factory=dict)

    @property
    def has_run(self) -> bool:
        """Whether its run folder holds the answer of its present files."""
        return self.state in ("ran", "unchanged")


SHOWN_DIFFERENCE = (
    *("treatment", "control", "pairs", "difference_kg_ha", "difference_pct", "low_kg_ha", "high_kg_ha"),
    *("low_pct", "high_pct", "confidence", "p_value"),
)
SHOWN_MONEY = (
    *("treatment", "currency", "gain_per_ac", "gain_per_ac_low", "gain_per_ac_high", "payback_years"),
    *("net_gain_per_ac", "net_gain_per_ac_low", "net_gain_per_ac_high", "break_even_ac", "investment", "area_ac"),
)


def shorten(result: dict[str, Any]) -> dict[str, Any]:
    """Keep of a result what a line of the season's page needs, so that thousands fit in memory.

    Parameters
    ----------
    result : dict
        result.json.

    Returns
    -------
    dict
        trial, verdict, evidence, records_read, differences, economics.
    """
    return {
        "trial": result["trial"],
        "verdict": result["verdict"],
        "evidence": result.get("evidence"),
        "records_read": result.get("records", {}).get("read"),
        "differences": [{key: row.get(key) for key in SHOWN_DIFFERENCE} for row in result["differences"]],
        "economics": [{key: row.get(key) for key in SHOWN_MONEY} for row in result.get("economics", [])],
    }
