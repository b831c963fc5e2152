"""pool.json: the pooled answer as plain data for programs."""

import dataclasses
from typing import Any

from proofstrip.pool.answer import PooledAnswer, PoolResult, PoolSettings, WithoutOne, site_word
from proofstrip.pool.figure import site_ends
from proofstrip.pool.sites import Site
from proofstrip.pool.synthesis import Pooled
from proofstrip.pool.words import answer_sentence, next_sentences
from proofstrip.report.words import Units
from proofstrip.result import plain
from proofstrip.units import HA_PER_ACRE, log_ratio_pct

SCHEMA_VERSION = 1


def describe_pool(result: PoolResult, units: Units, bushel: float | None) -> dict[str, Any]:
    """Make pool.json.

    Parameters
    ----------
    result : PoolResult
    units : Units
        Of the sentences; the figures are in both systems.
    bushel : float or None
        Kilograms a hectare in one bushel an acre of the crop.

    Returns
    -------
    dict
        Only plain values.
    """
    settings, sites = result.settings, result.chosen.sites
    best = result.answers[0]
    answer: dict[str, Any] = {
        "schema_version": SCHEMA_VERSION,
        "crop": next((site.crop for site in sites if site.crop), None),
        "control": best.control,
        "confidence": settings.confidence,
        "power": settings.power,
        "variance": "shared" if settings.shared_variance else "own",
        "prices": settings.prices or "own",
        "invented": result.invented,
        "verdict": {"word": best.word, "sentence": verdict_sentence(result, units)},
        "treatments": [_treatment(row, settings, units, bushel) for row in result.answers],
        "left_out": [{"trial": row.trial, "source": row.source, "reason": row.reason} for row in result.left_out],
        "warnings": [{"code": row.code, "message": row.message} for row in result.chosen.notices],
    }
    return {key: plain(value) for key, value in answer.items()}


def verdict_sentence(result: PoolResult, units: Units) -> str:
    """Say the answer about all treatments, best first."""
    return " ".join(answer_sentence(row, result.settings, units) for row in result.answers)


def _treatment(answer: PooledAnswer, settings: PoolSettings, units: Units, bushel: float | None) -> dict[str, Any]:
    """Describe one treatment."""
    effect = answer.effect
    weights = effect.weights if effect else (None,) * len(answer.sites)
    return {
        "treatment": answer.treatment,
        "control": answer.control,
        "trials": len(answer.sites),
        "seasons": answer.seasons,
        "effect": None if effect is None else _effect(effect),
        "yield": None if answer.yields is None else _yields(answer.yields, bushel),
        "money": None if answer.money is None else _money(answer.money, answer.currency, answer.outlay),
        "why_no_money": answer.why_no_money or None,
        "payback": None if answer.payback is None else dataclasses.asdict(answer.payback),
        "next_season": None if effect is None else _next(answer),
        "without_one_trial": [_without(row) for row in answer.without_one],
        "fragile": bool(answer.fragile),
        "covariate": _slope(answer, settings),
        "bartlett_p": answer.bartlett_p,
        "verdict": {
            "word": answer.word,
            "sentence": answer_sentence(answer, settings, units),
            "next_season": " ".join(next_sentences(answer, settings, units)) or None,
        },
        "sites": [_site(site, settings, weight, bushel) for site, weight in zip(answer.sites, weights, strict=True)],
    }


def _effect(effect: Pooled) -> dict[str, Any]:
    """Describe the pooled log ratio."""
    return {
        "difference_pct": log_ratio_pct(effect.estimate),
        "low_pct": log_ratio_pct(effect.low),
        "high_pct": log_ratio_pct(effect.high),
        "log_ratio": effect.estimate,
        "se_log_ratio": effect.se,
        "df": effect.df,
        "p_value": effect.p_value,
        "factor": effect.factor,
        "tau2": effect.tau2,
        "tau2_low": effect.tau2_low,
        "tau2_high": effect.tau2_high,
        "tau2_paule_mandel": effect.tau2_paule_mandel,
        "q": effect.q,
        "q_p": effect.q_p,
        "i2_pct": effect.i2_pct,
        "i2_low_pct": effect.i2_low_pct,
        "i2_high_pct": effect.i2_high_pct,
    }


def _yields(part: Pooled, bushel: float | None) -> dict[str, Any]:
    """Describe the pooled difference in yield."""
    ends = {"difference": part.estimate, "se": part.se, "low": part.low, "high": part.high}
    named = {f"{key}_kg_ha": value for key, value in ends.items()}
    return named if bushel is None else named | {f"{key}_bu_ac": value / bushel for key, value in ends.items()}


def _money(part: Pooled, currency: str, outlay: str) -> dict[str, Any]:
    """Describe the pooled gain."""
    ends = {"gain": part.estimate, "se": part.se, "low": part.low, "high": part.high}
    areas = {"ac": 1.0, "ha": HA_PER_ACRE}
    named = {f"{key}_per_{area}": value / size for area, size in areas.items() for key, value in ends.items()}
    return {"currency": currency, "outlay": outlay, **named, "tau2": part.tau2, "i2_pct": part.i2_pct}


def _next(answer: PooledAnswer) -> dict[str, Any]:
    """Describe what another field can expect."""
    effect, money = answer.effect, answer.money
    if effect is None:
        return {}
    return {
        "low_pct": log_ratio_pct(effect.prediction_low),
        "high_pct": log_ratio_pct(effect.prediction_high),
        "df": effect.prediction_df,
        "chance_of_more_yield": effect.chance_above(0.0),
        "low_per_ac": None if money is None else money.prediction_low,
        "high_per_ac": None if money is None else money.prediction_high,
        "chance_of_paying": None if money is None else money.chance_above(0.0),
    }


def _without(row: WithoutOne) -> dict[str, Any]:
    """Describe the effect without one trial."""
    ends = {"difference_pct": row.effect.estimate, "low_pct": row.effect.low, "high_pct": row.effect.high}
    head = {"trial": row.site.trial, "season": row.site.season}
    named = {key: log_ratio_pct(value) for key, value in ends.items()}
    if row.money is not None:
        named |= {"gain_per_ac": row.money.estimate, "low_per_ac": row.money.low, "high_per_ac": row.money.high}
    return head | named | {"word": row.word}


def _slope(answer: PooledAnswer, settings: PoolSettings) -> dict[str, Any] | None:
    """Describe the regression on the covariate."""
    if settings.covariate is None:
        return None
    slope = answer.slope
    if slope is None:
        return {"name": settings.covariate, "why_none": answer.why_no_slope}
    return {
        "name": settings.covariate,
        "slope_log_ratio": slope.slope,
        "se": slope.se,
        "low": slope.low,
        "high": slope.high,
        "df": slope.df,
        "p_value": slope.p_value,
        "intercept_log_ratio": slope.intercept,
        "tau2": slope.tau2,
    }


def _site(site: Site, settings: PoolSettings, weight: float | None, bushel: float | None) -> dict[str, Any]:
    """Describe one trial."""
    middle, low, high = site_ends(site, settings.confidence)
    difference = site.difference_kg_ha
    money = site.money
    return {
        "trial": site.trial,
        "field": site.place,
        "season": site.season,
        "difference_pct": middle,
        "low_pct": low,
        "high_pct": high,
        "log_ratio": site.log_ratio,
        "se_log_ratio": site.se,
        "df": site.df,
        "pairs": site.pairs,
        "weight": weight,
        "difference_kg_ha": difference,
        "difference_bu_ac": None if difference is None or bushel is None else difference / bushel,
        "word": site_word(site, settings.confidence),
        "currency": money.currency if money else None,
        "gain_per_ac": money.gain_per_ac if money else None,
        "se_per_ac": money.se_per_ac if money else None,
        "outlay_per_ac": money.outlay_per_ac if money else None,
        "covariates": dict(sorted(site.covariates.items())),
        "source": site.source,
        "report": site.report or None,
        "evidence": site.tier or None,
    }
