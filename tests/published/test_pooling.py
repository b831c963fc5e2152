"""Pooling against printed results, an R package and statsmodels; all on the 13 trials of the BCG vaccine.

Data: Colditz et al. (1994), JAMA 271:698-702, as metadat::dat.bcg: counts below, log relative risks and latitudes in
r/pool_bcg.txt, which ``Rscript r/pool_bcg.R`` wrote (R 4.2.2, metafor 3.8.1).
"""

from pathlib import Path

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from proofstrip.pool.synthesis import fit_slope, pool_effects
from proofstrip.pool.variance import fit_weighted, tau2_interval, tau2_paule_mandel, tau2_reml

WRITTEN = (Path(__file__).parent / "r" / "pool_bcg.txt").read_text(encoding="utf-8").splitlines()
R = {line.split()[0]: np.array([float(text) for text in line.split()[1:]]) for line in WRITTEN}
Y, V, LATITUDE = R["estimates"], R["variances"], R["latitude"]
ONE = np.ones((13, 1))
# Vaccinated with and without tuberculosis, then the unvaccinated: the table as printed with the data.
COUNTS = np.array(
    [
        [4, 119, 11, 128], [6, 300, 29, 274], [3, 228, 11, 209], [62, 13536, 248, 12619], [33, 5036, 47, 5761],
        [180, 1361, 372, 1079], [8, 2537, 10, 619], [505, 87886, 499, 87892], [29, 7470, 45, 7232],
        [17, 1699, 65, 1600], [186, 50448, 141, 27197], [5, 2493, 3, 2338], [27, 16886, 29, 17825],
    ]
)  # fmt: skip


def test_relative_risks_follow_from_the_counts() -> None:
    ill, well, ill_control, well_control = COUNTS.T.astype(float)
    risk, control = ill / (ill + well), ill_control / (ill_control + well_control)
    variance = 1 / ill - 1 / (ill + well) + 1 / ill_control - 1 / (ill_control + well_control)
    np.testing.assert_allclose(np.log(risk / control), Y, rtol=1e-10)
    np.testing.assert_allclose(variance, V, rtol=1e-10)


def test_printed_reml_results_of_the_13_trials() -> None:
    # Printed in the RoBMA vignette "Bayesian Meta-Analysis" (2026), output of rma(yi, vi, data = dat.bcg) on log
    # relative risks; the example of Viechtbauer (2010), Journal of Statistical Software 36(3).
    found = pool_effects(Y, V, 0.95)
    assert f"{found.tau2:.4f} {np.sqrt(found.tau2):.4f} {found.i2_pct:.2f}" == "0.3132 0.5597 92.22"
    assert f"{found.q:.4f} {found.estimate:.4f}" == "152.2330 -0.7145"
    plain = np.sqrt(fit_weighted(Y, V, ONE, found.tau2).covariance[0, 0])
    assert f"{plain:.4f} {found.estimate / plain:.4f}" == "0.1798 -3.9744"
    assert f"{found.estimate - 1.959964 * plain:.4f} {found.estimate + 1.959964 * plain:.4f}" == "-1.0669 -0.3622"


def test_printed_q_profile_interval_of_log_odds_ratios() -> None:
    # Printed at metafor-project.org, analyses:vanhouwelingen2002 (van Houwelingen, Arends and Stijnen 2002, Statistics
    # in Medicine 21:589-624): log odds ratios of trials 1 and 5, and the Q-profile interval 0.1302 to 1.1812.
    counts = COUNTS.astype(float)
    effects = np.log(counts[:, 0] * counts[:, 3] / counts[:, 1] / counts[:, 2])
    variances = (1 / counts).sum(axis=1)
    assert [f"{value:.4f}" for value in (effects[0], variances[0], effects[4], variances[4])] == [
        "-0.9387", "0.3571", "-0.2191", "0.0520",
    ]  # fmt: skip
    low, high = tau2_interval(effects, variances, ONE, 0.95)
    assert low == pytest.approx(0.1302, abs=1e-4)  # 0.13015: the package's default tolerance is 1e-4
    assert f"{high:.4f}" == "1.1812"


def test_reml_with_hartung_knapp_against_r() -> None:
    found = pool_effects(Y, V, 0.95)
    tau2, estimate, se, low, high, p, q, i2 = R["REML_adhoc"]
    np.testing.assert_allclose(
        [found.tau2, found.estimate, found.se, found.low, found.high, found.p_value, found.q, found.i2_pct],
        [tau2, estimate, se, low, high, p, q, i2],
        rtol=1e-9,
    )
    np.testing.assert_allclose([found.prediction_low, found.prediction_high], R["prediction"], rtol=1e-9)
    np.testing.assert_allclose([found.tau2_low, found.tau2_high], R["q_profile_tau2"], rtol=1e-9)
    np.testing.assert_allclose([found.i2_low_pct, found.i2_high_pct], R["q_profile_i2"], rtol=1e-9)
    assert found.tau2_paule_mandel == pytest.approx(R["PM_z"][0], rel=1e-9)


def test_sites_that_agree_keep_their_standard_error_against_r() -> None:
    few = pool_effects(np.array([0.042, 0.046, 0.049, 0.043]), np.array([0.010, 0.012, 0.009, 0.015]) ** 2, 0.95)
    np.testing.assert_allclose([few.tau2, few.estimate, few.se, few.low, few.high], R["few_adhoc"], rtol=1e-9)
    assert np.sqrt(few.factor) * few.se == pytest.approx(R["few_knha_se"][0], rel=1e-9)


def test_slope_on_latitude_against_r() -> None:
    found = fit_slope(Y, V, LATITUDE, 0.95)
    tau2, intercept, slope, intercept_se, se, _, p, low, high, _ = R["latitude_adhoc"]
    np.testing.assert_allclose(
        [found.tau2, found.intercept, found.slope, found.intercept_se, found.se, found.p_value, found.low, found.high],
        [tau2, intercept, slope, intercept_se, se, p, low, high],
        rtol=1e-8,
    )


def test_leaving_one_out_against_r() -> None:
    found = [pool_effects(np.delete(Y, place), np.delete(V, place), 0.95) for place in range(13)]
    for name, key in (("leave_one_out", "estimate"), ("leave_one_out_low", "low"), ("leave_one_out_high", "high")):
        np.testing.assert_allclose([getattr(one, key) for one in found], R[name], rtol=1e-9)


@pytest.mark.parametrize("method", ["chi2", "iterated"])
def test_weighted_mean_and_hartung_knapp_against_statsmodels(method: str) -> None:
    # combine_effects: DerSimonian-Laird ("chi2") and Paule-Mandel ("iterated") variances, each with its own
    # Hartung-Knapp standard error.
    other = combine_effects(Y, V, method_re=method, use_t=True)
    if method == "iterated":
        assert tau2_paule_mandel(Y, V, ONE) == pytest.approx(other.tau2, rel=1e-6)
    else:
        assert other.tau2 == pytest.approx(R["DL_z"][0], rel=1e-9)
    fit = fit_weighted(Y, V, ONE, other.tau2)
    assert fit.estimate[0] == pytest.approx(other.mean_effect_re, rel=1e-9)
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(other.sd_eff_w_re, rel=1e-9)
    hartung_knapp = np.sqrt(fit.residual_square / 12 * fit.covariance[0, 0])
    assert hartung_knapp == pytest.approx(other.sd_eff_w_re_hksj, rel=1e-9)
    assert fit_weighted(Y, V, ONE, 0.0).residual_square == pytest.approx(other.q, rel=1e-9)


def test_reml_is_the_highest_likelihood_of_a_mixed_model() -> None:
    # The restricted likelihood of y ~ N(mu 1, diag(V + tau2)), written out another way: error contrasts.
    contrasts = np.linalg.svd(ONE, full_matrices=True)[0][:, 1:]

    def likelihood(tau2: float) -> float:
        spread = contrasts.T @ np.diag(V + tau2) @ contrasts
        inside = contrasts.T @ Y
        return float(-0.5 * (np.linalg.slogdet(spread)[1] + inside @ np.linalg.solve(spread, inside)))

    best = tau2_reml(Y, V, ONE)
    assert all(likelihood(best) > likelihood(other) for other in (0.0, 0.9 * best, 0.999 * best, 1.001 * best, 2.0))
