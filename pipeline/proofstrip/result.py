"""result.json: everything that was found out, as plain data for programs."""

import dataclasses
import math
from collections.abc import Iterable, Sequence
from typing import Any

from proofstrip.config import Settings
from proofstrip.crops import Crop
from proofstrip.flags import count_flags
from proofstrip.stats import Comparison
from proofstrip.work import Work

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
    if row["leave_one_out"] is not None:
        without = row["leave_one_out"]["without"]
        named["leave_one_out"]["without"] = [_yields(one, YIELDS, unit, twin) for one in without]
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


def describe_run(work: Work) -> dict[str, Any]:
    """Make result.json.

    Parameters
    ----------
    work : Work
        When every stage is done.

    Returns
    -------
    dict
    """
    points = work.points
    return _plain_dict(
        {
            "schema_version": SCHEMA_VERSION,
            "trial": _describe_trial(work.settings),
            "delay": _rows(work.delays),
            "moisture": [] if work.moisture is None else _rows(work.moisture.lags),
            "scale": work.scale and dataclasses.asdict(work.scale),
            "delay_by_treatment": _rows(work.treatment_delays),
            "machines": _rows(work.offsets),
            "drift": _rows(work.drift),
            "records": {
                "read": len(points),
                "used": int((points["usable"] & points["strip"].notna()).sum()),
                "flags": count_flags(points["flags"]),
            },
            "removals": _rows(work.removals),
            "exclusions": _rows(work.excluded),
            **describe_comparison(work.compared, work.settings.trial.crop),
            "probability": _rows(work.odds),
            "remarks": _rows(work.remarks),
            "ground_loss": describe_losses(work),
            "economics": _rows(work.paybacks),
            "sensitivity": _rows(work.alternatives),
            "along": _rows(work.along),
            "zones": _rows(work.zones),
            "spatial": _rows(work.spatial),
            "checks": _rows(work.checks),
            "warnings": _rows(work.notices),
            "verdict": dataclasses.asdict(work.decided),
            "evidence": work.evidence and dataclasses.asdict(work.evidence),
        }
    )


def describe_losses(work: Work) -> dict[str, Any] | None:
    """Turn ground losses into a part of result.json.

    Parameters
    ----------
    work : Work

    Returns
    -------
    dict or None
        None where nothing was counted.
    """
    losses, part = work.losses, work.settings.ground_loss
    if losses is None or part is None:
        return None
    bushel, table = work.settings.trial.crop.kg_ha_per_bu_ac, losses.table
    rates = [str(name) for name in table if str(name).endswith("_kg_ha")]
    by_treatment = table.groupby("treatment", sort=False)
    means = by_treatment[rates].mean().assign(strips=by_treatment.size()).reset_index()
    return {
        "thousand_kernel_g": losses.thousand_kernel_g,
        "concentration": part.concentration,
        "acts_on": part.acts_on,
        "frames": int(table["frames"].sum()),
        "dispersion": losses.dispersion and dataclasses.asdict(losses.dispersion),
        "strips": [_add_bushels(row, bushel) for row in table.to_dict("records")],
        "treatments": [_add_bushels(row, bushel) for row in means.to_dict("records")],
        "differences": [_add_bushels(row, bushel) for row in _rows(work.loss_differences)],
        "balance": [_add_bushels(row, bushel) for row in _rows(work.balances)],
    }


def _add_bushels(row: dict[Any, Any], bushel: float | None) -> dict[str, Any]:
    """Put bushels an acre beside each figure in kilograms a hectare, for crops that have a bushel."""
    twins = {
        f"{str(key).removesuffix('_kg_ha')}_bu_ac": None if value is None else value / bushel
        for key, value in row.items()
        if bushel and str(key).endswith("_kg_ha")
    }
    return {**row, **twins}


def _describe_trial(settings: Settings) -> dict[str, Any]:
    """Say which trial it is."""
    trial = settings.trial
    return {
        "name": trial.name,
        "field": trial.field,
        "season": trial.season,
        "crop": trial.crop.name,
        "control": settings.trial_map.control,
        "standard_moisture_pct": settings.standard_moisture_pct,
        "notes": trial.notes,
    }


def _rows(found: Iterable[Any]) -> list[dict[str, Any]]:
    """Turn records into dictionaries."""
    return [dataclasses.asdict(one) for one in found]


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
