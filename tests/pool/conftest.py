"""Sites and results that tests vary."""

from collections.abc import Callable
from typing import Any

import pytest

from proofstrip.pool.sites import Site, SiteMoney


@pytest.fixture
def make_site() -> Callable[..., Site]:
    """Build a site that is pooled; anything varied."""

    def build(number: int, log_ratio: float = 0.04, **other: Any) -> Site:
        fields = {
            "trial": f"Trial {number}",
            "place": f"Field {number}",
            "season": 2024 + number % 2,
            "crop": "soybean",
            "treatment": "lifters",
            "control": "plain header",
            "log_ratio": log_ratio,
            "se": 0.01,
            "df": 5.0,
            "pairs": 6.0,
        }
        return Site(**(fields | other))

    return build


@pytest.fixture
def make_money() -> Callable[..., SiteMoney]:
    """Build what a site earned."""

    def build(gain_per_ac: float, **other: Any) -> SiteMoney:
        fields = {
            "currency": "USD",
            "gain_per_ac": gain_per_ac,
            "se_per_ac": 3.0,
            "outlay": "included",
            "outlay_per_ac": 5.0,
            "price_per_t": 400.0,
            "price_per_bu": 10.9,
        }
        return SiteMoney(**(fields | other))

    return build


@pytest.fixture
def make_result() -> Callable[..., dict[str, Any]]:
    """Build the parts of a result.json that pooling reads; anything varied."""

    def build(**other: Any) -> dict[str, Any]:
        difference = {
            "treatment": "lifters", "control": "plain header", "pairs": 6, "difference_kg_ha": 170.0,
            "difference_pct": 5.0, "se_log_ratio": 0.01, "df_log_ratio": 5.0, "se_kg_ha": 30.0, "low_kg_ha": 109.5,
            "high_kg_ha": 230.5,
        }  # fmt: skip
        result: dict[str, Any] = {
            "trial": {"name": "Trial 1", "field": "Home", "season": 2024, "crop": "soybean", "notes": ""},
            "treatments": [
                {"treatment": "plain header", "strips": 6, "mean_kg_ha": 3400.0},
                {"treatment": "lifters", "strips": 6, "mean_kg_ha": 3570.0},
            ],
            "differences": [difference],
            "economics": [],
            "verdict": {"word": "higher", "sentence": "It yields more."},
        }
        return result | other

    return build
