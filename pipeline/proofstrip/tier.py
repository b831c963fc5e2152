"""What an answer rests on: one measure, two that agree, or two that contradict each other."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from proofstrip.loss_balance import Balance, Word
from proofstrip.stats import Check

Tier = Literal["scale_and_counts", "monitor_and_counts", "scale", "monitor", "in_conflict"]
TIERS: dict[Tier, str] = {
    "scale_and_counts": "Scale and ground counts agree.",
    "monitor_and_counts": "Monitor and ground counts agree.",
    "scale": "Rests on the scale.",
    "monitor": "Rests on the monitor alone.",
    "in_conflict": "The measures contradict each other.",
}
SHORT: dict[Tier, str] = {
    "scale_and_counts": "Scale and counts",
    "monitor_and_counts": "Monitor and counts",
    "scale": "Scale",
    "monitor": "Monitor only",
    "in_conflict": "In conflict",
}  # for a column of a table: by the alphabet they also stand from weak to strong
BESIDE = {
    "not_counted": "Ground losses were not counted.",
    "crop": "Ground losses were counted, but a treatment that works on the crop need not save grain from the ground.",
    "too_rough": "The ground counts are too rough to confirm it.",
}
UNWEIGHED = "No strip was weighed"
SCALED = "Scale tickets set the level of the combine's yields, but no strip was weighed alone"
ALONE = (
    "a treatment that misleads the combine's sensor would look the same. Weigh the load of every strip, or count "
    "ground losses, before much money hangs on it."
)
SAVED = "Less grain was left on the ground, and that matches the extra yield, as near as can be measured."


@dataclass(frozen=True)
class Evidence:
    """What stands behind the answer.

    Attributes
    ----------
    tier : str
        scale_and_counts, monitor_and_counts, scale, monitor or in_conflict.
    sentence : str
        For a grower.
    """

    tier: Tier
    sentence: str


def evidence_word(evidence: Mapping[str, str] | None) -> str:
    """Name what an answer rests on, for a column of a table.

    Parameters
    ----------
    evidence : mapping or None
        Of result.json; results of early versions have none.

    Returns
    -------
    str

    Examples
    --------
    >>> evidence_word({"tier": "scale_and_counts"}), evidence_word(None)
    ('Scale and counts', '–')
    """
    named: dict[str, str] = dict(SHORT.items())
    return named.get((evidence or {}).get("tier", ""), "–")


def judge_evidence(
    weighed: bool,
    sensor: tuple[Check, ...],
    balances: tuple[Balance, ...],
    acts_on: str = "harvest",
    scaled: bool = False,
) -> Evidence:
    """Say which measures the answer rests on, and whether they agree.

    Parameters
    ----------
    weighed : bool
        Every strip that counts was weighed.
    sensor : tuple of Check
        Of ``scale.check_sensor``: whether the monitor read all treatments alike, by the scale.
    balances : tuple of Balance
    acts_on : {'harvest', 'crop'}
    scaled : bool
        Scale tickets set the combine's level, no strip alone.

    Returns
    -------
    Evidence
    """
    words = {one.word for one in balances} if acts_on == "harvest" else set()
    conflict = bool(words & {"too_large", "too_small"})
    confirmed = words == {"agrees"}
    if conflict:
        tier: Tier = "in_conflict"
    elif weighed:
        tier = "scale_and_counts" if confirmed else "scale"
    else:
        tier = "monitor_and_counts" if confirmed else "monitor"
    said = ["Rests on the monitor, at the scale's level." if scaled and tier == "monitor" else TIERS[tier]]
    if conflict:
        said.append(_say_conflict(words, weighed))
    elif weighed:
        said += ["Every strip was weighed.", *_say_sensor(sensor)]
    elif confirmed:
        said += [f"{SCALED if scaled else UNWEIGHED}.", SAVED]
    else:
        said.append(f"{SCALED if scaled else UNWEIGHED}, so {ALONE}")
    if confirmed and weighed:
        said.append(SAVED)
    if not (confirmed or conflict):
        said.append(BESIDE["crop" if balances and acts_on == "crop" else "too_rough" if balances else "not_counted"])
    return Evidence(tier, " ".join(said))


def _say_conflict(words: set[Word | None], weighed: bool) -> str:
    """Say which measure shows more."""
    measure = "scale" if weighed else "monitor"
    if "too_large" in words:
        likely = "" if weighed else ", so the gain is likely the sensor's doing"
        return f"The {measure} shows more extra yield than grain was saved from the ground{likely}."
    return f"More grain was saved from the ground than the {measure} shows as extra yield."


def _say_sensor(sensor: tuple[Check, ...]) -> list[str]:
    """Say how the monitor stood against the scale."""
    passed = {check.passed for check in sensor}
    if False in passed:
        return ["The monitor read the treatments unlike the scale; the answer is the scale's."]
    return (
        ["The monitor read no treatment clearly otherwise than the scale; the answer is the scale's."]
        if True in passed
        else []
    )
