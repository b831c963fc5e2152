"""result.json: everything that was found out, as plain data for programs."""

import dataclasses
import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from proofstrip.along import Along, ZoneDifference
from proofstrip.clean import Delay
from proofstrip.crops import Crop
from proofstrip.drift import Drift
from proofstrip.economics import Payback
from proofstrip.errors import Notice
from proofstrip.exclusions import ExclusionCount
from proofstrip.flags import count_flags
from proofstrip.machines import MachineOffset
from proofstrip.sensitivity import Alternative
from proofstrip.spatial import SpatialFit
from proofstrip.stats import Check, Comparison
from proofstrip.stats.further import Probability
from proofstrip.stats.remarks import Remark
from proofstrip.stats.verdict import Verdict

SCHEMA_VERSION = 1
# Keys of the comparison that are yields, and so named by their unit where there is one.
YIELDS = ("difference", "se", "low", "high", "detectable")


def describe_comparison(comparison: Comparison, crop: Crop | None) -> dict[str, Any]:
    """Turn a comparison into the keys of result.json; ``proofstrip stats --json`` prints the same.

    Parameters
    ----------
    comparison : Comparison
    crop : Crop or None
        Adds bushels an acre beside kilograms a hectare; none where the crop is not known.

    Returns
    -------
    dict
        Only plain values; NaN and infinite ones become null.
    """
    bushel = crop.kg_ha_per_bu_ac if crop else None
    unit = {"kg/ha": "_kg_ha", "bu/ac": "_bu_ac"}.get(comparison.unit, "")
    twin = bushel if unit == "_kg_ha" else None
    return _plain_dict(
        {
            "design": comparison.design,
            "control": comparison.control,
            "blocks": comparison.blocks,
            "confidence": comparison.confidence,
            "yield_unit": comparison.unit,
            "treatments": [
                {
                    "treatment": row.treatment,
                    "strips": row.strips,
                    "missing": row.missing,
                    **_yields({"mean": row.mean}, ("mean",), unit, twin),
                }
                for row in comparison.treatments
            ],
            "differences": [_difference(dataclasses.asdict(row), unit, twin) for row in comparison.differences],
            "pairwise": [_yields(dataclasses.asdict(row), YIELDS, unit, None) for row in comparison.pairwise],
            "anova": [dataclasses.asdict(row) for row in comparison.anova],
            "df_residual": comparison.df_residual,
            "residual_variance": comparison.residual_variance,
            "block_variance": comparison.block_variance,
            "lsd": comparison.lsd,
            "cv_pct": comparison.cv_pct,
            "letters": comparison.letters,
            "lsd_letters": comparison.lsd_letters,
            "trend": comparison.trend and dataclasses.asdict(comparison.trend),
            "dose": comparison.dose and dataclasses.asdict(comparison.dose),
            "split": comparison.split and dataclasses.asdict(comparison.split),
            "adjusted": [dataclasses.asdict(row) for row in comparison.adjusted],
            "conditions": [dataclasses.asdict(row) for row in comparison.conditions],
            "residuals": [dataclasses.asdict(row) for row in comparison.residuals],
        }
    )


def _difference(row: dict[str, Any], unit: str, twin: float | None) -> dict[str, Any]:
    """Name the yields of one difference by their unit, those of its parts too."""
    named = _yields(row, YIELDS, unit, twin)
    named["pair_differences"] = [
        _yields(pair, ("treatment_yield", "control_yield", "difference"), unit, twin)
        for pair in row["pair_differences"]
    ]
    for part in ("leave_one_out", "median"):
        if row[part] is not None:
            named[part] = _yields(row[part], ("low", "high", "median"), unit, twin)
    return named


def _yields(row: dict[str, Any], keys: Sequence[str], unit: str, twin: float | None) -> dict[str, Any]:
    """Add the unit to the names of yields, and bushels an acre beside kilograms a hectare."""
    named: dict[str, Any] = {}
    for key, value in row.items():
        if key not in keys:
            named[key] = value
            continue
        named[key + unit] = value
        if twin:
            named[f"{key}_bu_ac"] = None if value is None else value / twin
    return named


@dataclasses.dataclass(frozen=True)
class Findings:
    """All that a run found out.

    Attributes
    ----------
    delays : tuple of Delay
    points : pandas.DataFrame
        flags and usable.
    comparison : Comparison
    paybacks : tuple of Payback
        Empty without prices.
    alternatives : tuple of Alternative
    checks : tuple of Check
    warnings : tuple of Notice
    verdict : Verdict
    exclusions : tuple of ExclusionCount
        What a person excluded.
    probabilities : tuple of Probability
    remarks : tuple of Remark
    machines : tuple of MachineOffset
        Empty with one combine.
    drift : tuple of Drift
    along, zones, spatial : tuple of Along, tuple of ZoneDifference, tuple of SpatialFit
        Where in the field the treatments differ.
    """

    delays: tuple[Delay, ...]
    points: pd.DataFrame
    comparison: Comparison
    paybacks: tuple[Payback, ...]
    alternatives: tuple[Alternative, ...]
    checks: tuple[Check, ...]
    warnings: tuple[Notice, ...]
    verdict: Verdict
    exclusions: tuple[ExclusionCount, ...] = ()
    probabilities: tuple[Probability, ...] = ()
    remarks: tuple[Remark, ...] = ()
    machines: tuple[MachineOffset, ...] = ()
    drift: tuple[Drift, ...] = ()
    along: tuple[Along, ...] = ()
    zones: tuple[ZoneDifference, ...] = ()
    spatial: tuple[SpatialFit, ...] = ()


def describe_run(findings: Findings, trial: dict[str, Any], crop: Crop) -> dict[str, Any]:
    """Make result.json.

    Parameters
    ----------
    findings : Findings
    trial : dict
        Name, field, season and so on.
    crop : Crop

    Returns
    -------
    dict
    """
    points = findings.points
    return _plain_dict(
        {
            "schema_version": SCHEMA_VERSION,
            "trial": trial,
            "delay": [dataclasses.asdict(delay) for delay in findings.delays],
            "machines": [dataclasses.asdict(offset) for offset in findings.machines],
            "drift": [dataclasses.asdict(drift) for drift in findings.drift],
            "records": {
                "read": len(points),
                "used": int((points["usable"] & points["strip"].notna()).sum()),
                "flags": count_flags(points["flags"]),
            },
            "exclusions": [dataclasses.asdict(count) for count in findings.exclusions],
            **describe_comparison(findings.comparison, crop),
            "probability": [dataclasses.asdict(row) for row in findings.probabilities],
            "remarks": [dataclasses.asdict(remark) for remark in findings.remarks],
            "economics": [dataclasses.asdict(payback) for payback in findings.paybacks],
            "sensitivity": [dataclasses.asdict(row) for row in findings.alternatives],
            "along": [dataclasses.asdict(row) for row in findings.along],
            "zones": [dataclasses.asdict(row) for row in findings.zones],
            "spatial": [dataclasses.asdict(row) for row in findings.spatial],
            "checks": [dataclasses.asdict(check) for check in findings.checks],
            "warnings": [dataclasses.asdict(notice) for notice in findings.warnings],
            "verdict": dataclasses.asdict(findings.verdict),
        }
    )


def _plain_dict(value: dict[str, Any]) -> dict[str, Any]:
    """Make a dictionary plain."""
    return {key: plain(part) for key, part in value.items()}


def plain(value: Any) -> Any:
    """Turn tuples into lists and NaN and infinity into null, all the way down.

    Examples
    --------
    >>> plain({"a": (1.0, float("nan"))})
    {'a': [1.0, None]}
    """
    if isinstance(value, dict):
        return {str(key): plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if hasattr(value, "item"):
        return plain(value.item())
    return value
