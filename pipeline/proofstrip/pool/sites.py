"""What one trial says about one treatment, ready to be pooled: from result.json or from a row of a table."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from proofstrip.errors import Notice

UNITS = {"kg/ha": "_kg_ha", "bu/ac": "_bu_ac"}
TOO_OLD = "was run by a version that did not write se_log_ratio; run the trial again"


@dataclass(frozen=True)
class SiteMoney:
    """What one trial's treatment earned, at that trial's own prices and costs.

    Attributes
    ----------
    currency : str
    gain_per_ac, se_per_ac : float
        [currency an acre]
    outlay : str
        ``none``, ``included`` (spread over the farm's area) or ``before`` (no area was given to spread it over).
    outlay_per_ac : float
        What is counted of it, an acre.
    price_per_t : float
    price_per_bu : float or None
    """

    currency: str
    gain_per_ac: float
    se_per_ac: float
    outlay: str
    outlay_per_ac: float
    price_per_t: float
    price_per_bu: float | None


@dataclass(frozen=True, kw_only=True)
class Site:
    """One treatment against the control in one trial.

    Attributes
    ----------
    trial, place : str
        Name of the trial, and its field.
    season : int
    crop : str
        Empty where a table does not say it.
    treatment, control : str
    log_ratio, se : float
        Mean log of treatment over control, and its standard error.
    df : float
        Degrees of freedom of ``se``.
    pairs : float
        By which the scatter of one pair is divided in ``se``^2.
    difference_kg_ha, se_kg_ha : float or None
    verdict : str
        The trial's own word; empty for a row of a table.
    money : SiteMoney or None
    covariates : mapping of str to float
    source : str
        The file it was read from.
    report : str
        Its report.html; empty where there is none.
    tier : str
        What its answer rests on, a key of ``tier.TIERS``; empty where that is not known.
    invented : bool
    from_table : bool
        Its figures were rounded by a person, so two trials may share them by chance.
    """

    trial: str
    place: str = ""
    season: int
    crop: str = ""
    treatment: str
    control: str
    log_ratio: float
    se: float
    df: float
    pairs: float
    difference_kg_ha: float | None = None
    se_kg_ha: float | None = None
    verdict: str = ""
    money: SiteMoney | None = None
    covariates: Mapping[str, float] = field(default_factory=dict)
    source: str = ""
    report: str = ""
    tier: str = ""
    invented: bool = False
    from_table: bool = False

    @property
    def name(self) -> str:
        """Trial and season, for people."""
        return f"{self.trial}, {self.season}"


@dataclass(frozen=True)
class LeftOut:
    """A trial, or one of its treatments, that is not pooled.

    Attributes
    ----------
    trial, source, reason : str
        ``reason`` is a phrase for people.
    """

    trial: str
    source: str
    reason: str


@dataclass(frozen=True)
class SiteList:
    """Sites, those left out, and what the reader should know.

    Attributes
    ----------
    sites : tuple of Site
    left_out : tuple of LeftOut
    notices : tuple of Notice
    """

    sites: tuple[Site, ...]
    left_out: tuple[LeftOut, ...] = ()
    notices: tuple[Notice, ...] = ()


def sites_of_run(
    result: Mapping[str, Any], source: str, report: str = "", covariates: Mapping[str, float] | None = None
) -> tuple[list[Site], list[LeftOut]]:
    """Take every treatment out of a run's result.

    Parameters
    ----------
    result : mapping
        result.json.
    source, report : str
        Where it was read, and its page.
    covariates : mapping of str to float, optional
        Of the trial, beside the control's yield.

    Returns
    -------
    tuple of list of Site and list of LeftOut
    """
    trial = result["trial"]
    name = f"{trial['name']}, {trial['season']}"
    if (result.get("verdict") or {}).get("word") == "refused":
        return [], [LeftOut(name, source, f"its own run gives no answer: {result['verdict']['sentence']}")]
    sites, left_out = [], []
    for row in result.get("differences") or []:
        why = _unusable(row)
        if why:
            left_out.append(LeftOut(f"{name}: {row['treatment']}", source, why))
        else:
            sites.append(_site_of_run(result, row, source, report, covariates or {}))
    return sites, left_out


def _unusable(row: Mapping[str, Any]) -> str:
    """Say why a difference cannot be pooled; empty where it can."""
    if "se_log_ratio" not in row:
        return TOO_OLD
    if row.get("difference_pct") is None:
        return "a strip yielded nothing, so there is no ratio to the control"
    return unusable_se(row.get("se_log_ratio"), row.get("df_log_ratio"))


def unusable_se(se: float | None, df: float | None) -> str:
    """Say why a standard error carries no weight; empty where it does.

    Parameters
    ----------
    se, df : float or None

    Returns
    -------
    str

    Examples
    --------
    >>> unusable_se(0.01, 5.0), unusable_se(0.0, 5.0)
    ('', 'its standard error is 0; strips that scatter have one above zero')
    """
    if se is None or df is None:
        return "it has no standard error: the treatment was not replicated"
    if not se > 0:
        return f"its standard error is {se:g}; strips that scatter have one above zero"
    if not df >= 1:
        return f"its standard error has {df:g} degrees of freedom; at least 1 is needed"
    return ""


def _site_of_run(
    result: Mapping[str, Any], row: Mapping[str, Any], source: str, report: str, covariates: Mapping[str, float]
) -> Site:
    """Make a site of one difference."""
    trial, strips = result["trial"], {entry["treatment"]: entry for entry in result["treatments"]}
    control = strips[row["control"]]
    pairs = row.get("pairs")
    if pairs is None:
        pairs = 2 / (1 / strips[row["treatment"]]["strips"] + 1 / control["strips"])
    own = dict(covariates)
    if control.get("mean_kg_ha") is not None:
        own["control_yield_kg_ha"] = float(control["mean_kg_ha"])
    entries = [entry for entry in result.get("economics") or [] if entry["treatment"] == row["treatment"]]
    return Site(
        trial=str(trial["name"]),
        place=str(trial.get("field") or ""),
        season=int(trial["season"]),
        crop=str(trial["crop"]),
        treatment=str(row["treatment"]),
        control=str(row["control"]),
        log_ratio=float(np.log1p(row["difference_pct"] / 100)),
        se=float(row["se_log_ratio"]),
        df=float(row["df_log_ratio"]),
        pairs=float(pairs),
        difference_kg_ha=row.get("difference_kg_ha"),
        se_kg_ha=row.get("se_kg_ha"),
        verdict=_own_word(row, entries),
        money=_money_of(row, entries[0]) if entries else None,
        covariates=own,
        source=source,
        report=report,
        tier=str((result.get("evidence") or {}).get("tier") or ""),
        invented="invented" in str(trial.get("notes") or "").lower(),
    )


def _own_word(row: Mapping[str, Any], entries: Sequence[Mapping[str, Any]]) -> str:
    """Give the trial's word on one treatment, by the rule of a run: the run's own word is of its best treatment."""
    low, high = (row.get(f"{end}_kg_ha", row.get(f"{end}_bu_ac", row.get(end))) for end in ("low", "high"))
    words = ("higher", "lower")
    if entries and entries[0].get("net_gain_per_ac_low") is not None:
        low, high = (entries[0][f"net_gain_per_ac_{end}"] for end in ("low", "high"))
        words = ("pays", "does_not_pay")
    if low is None or high is None:
        return ""
    return words[0] if low > 0 else words[1] if high < 0 else "not_settled"


def _money_of(row: Mapping[str, Any], entry: Mapping[str, Any]) -> SiteMoney | None:
    """Give the gain that the trial's verdict goes by; its standard error moves with the yield's, in proportion."""
    outlay = "none" if not entry["investment"] else "before" if entry["area_ac"] is None else "included"
    low, high = entry.get("gain_per_ac_low"), entry.get("gain_per_ac_high")
    unit = next((unit for unit in UNITS.values() if row.get(f"se{unit}") is not None), None)
    if low is None or high is None or unit is None:
        return None
    width = row[f"high{unit}"] - row[f"low{unit}"]
    return SiteMoney(
        currency=str(entry["currency"]),
        gain_per_ac=float(entry["gain_per_ac" if outlay == "before" else "net_gain_per_ac"]),
        se_per_ac=float((high - low) / width * row[f"se{unit}"]),
        outlay=outlay,
        outlay_per_ac=float(entry["gain_per_ac"] - entry["net_gain_per_ac"]),
        price_per_t=float(entry["price_per_t"]),
        price_per_bu=entry.get("price_per_bu"),
    )
