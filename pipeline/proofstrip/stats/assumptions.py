"""What must hold for the answer, looked at one thing at a time and said in words.

Normality is not tested: with a handful of strips such a test sees nothing, and the sign-flip test stands beside the t
test without needing it. What can spoil a strip trial is looked for instead: too few replicates, one strange pair,
unequal scatter, a drift along the field.
"""

from dataclasses import replace

import numpy as np
from scipy import special

from proofstrip.stats.design import Plots
from proofstrip.stats.linear import Fit, Floats, f_tail
from proofstrip.stats.results import Check, Design

SUSPICIOUS = 0.05  # a check fails below this p; common practice, no source


def check_assumptions(plots: Plots, fit: Fit, design: Design) -> tuple[Check, ...]:
    """Look at outlying strips, unequal scatter and drift along the field and in time.

    Parameters
    ----------
    plots : Plots
    fit : Fit
    design : str

    Returns
    -------
    tuple of Check
    """
    if design == "paired":
        differences = pair_differences(plots)
        checks = [check_outlying_pair(differences, plots.blocks), check_scale(plots)]
    else:
        checks = [check_outlying_strip(plots, fit), check_equal_scatter(plots, fit)]
    checks += check_drift(plots, fit, design)
    if plots.order is not None and design == "paired":
        checks.append(check_side(plots))
    return tuple(checks)


def pair_differences(plots: Plots) -> Floats:
    """Give treatment minus control of each pair, in the order of the blocks."""
    cells = plots.cells()
    return np.asarray(cells[:, 1] - cells[:, 0])


def check_replication(replicates: int, design: Design) -> Check:
    """Tell whether anything is repeated at all."""
    unit = "strips" if design == "unblocked" else "blocks"
    passed = design != "unreplicated"
    note = (
        f"The comparison rests on {replicates} {unit}."
        if passed
        else "No treatment can be told apart from its own piece of ground: it takes two or more strips of each "
        "treatment, best side by side in pairs."
    )
    return Check("replication", passed, float(replicates), "2 or more", note, forbids=True)


def check_scatter(fit: Fit, plots: Plots) -> Check:
    """Tell whether there is any scatter to judge a difference by."""
    passed = has_scatter(fit, plots)
    note = (
        "Strips of the same treatment differ, as measured yields do."
        if passed
        else "Every block shows exactly the same difference. Measured strips never do: these look like computed values."
    )
    return Check("scatter", passed, float(np.sqrt(fit.variance)), "above 0", note, forbids=True)


def has_scatter(fit: Fit, plots: Plots) -> bool:
    """Tell real scatter from rounding of floating-point numbers."""
    rounding = 8 * float(np.finfo(float).eps) * float(np.abs(plots.values).max())
    return bool(np.sqrt(fit.variance) > rounding)


def check_outlying_pair(differences: Floats, blocks: tuple[str, ...]) -> Check:
    """Look for one pair far from the rest (largest deleted residual, Bonferroni)."""
    n = len(differences)
    if n < 4:
        return Check("outlying_pair", None, None, "p above 0.05", f"{n} pairs are too few to call one of them strange.")
    t = deleted_residuals(differences - differences.mean(), float(n - 2), np.full(n, 1 - 1 / n))
    worst = int(np.argmax(np.abs(t)))
    p = min(1.0, n * float(2 * special.stdtr(n - 2, -abs(t[worst]))))
    passed = p >= SUSPICIOUS
    note = (
        "No pair stands apart from the others."
        if passed
        else f"Block {blocks[worst]} differs from all others more than chance allows. Find out what happened there; "
        "take it out only for a cause that is on file, never for its yield."
    )
    return Check("outlying_pair", passed, p, "p above 0.05", note)


def check_outlying_strip(plots: Plots, fit: Fit) -> Check:
    """Look for one strip far from what its block and treatment say."""
    df = fit.df_residual - 1
    share = fit.df_residual / len(plots.values)
    if df < 2:
        return Check(
            "outlying_strip", None, None, "p above 0.05", "There are too few strips to call one of them strange."
        )
    t = deleted_residuals(fit.residuals, df, np.full(len(plots.values), share))
    worst = int(np.argmax(np.abs(t)))
    p = min(1.0, len(t) * float(2 * special.stdtr(df, -abs(t[worst]))))
    passed = p >= SUSPICIOUS
    where = plots.treatments[plots.treatment[worst]]
    where += f" in block {plots.blocks[plots.block[worst]]}" if plots.blocks else ""
    note = (
        "No strip stands apart from what its block and treatment lead one to expect."
        if passed
        else f"The strip of {where} lies further off than chance allows. Find out what happened there; take it out "
        "only for a cause that is on file, never for its yield."
    )
    return Check("outlying_strip", passed, p, "p above 0.05", note)


def deleted_residuals(residuals: Floats, df: float, shares: Floats) -> Floats:
    """Give each residual over its standard error without itself; ``shares`` are 1 minus the leverages."""
    total = float(residuals @ residuals)
    rest = np.maximum(total - residuals**2 / shares, 1e-300) / df
    return np.asarray(residuals / np.sqrt(rest * shares))


def check_scale(plots: Plots) -> Check:
    """Look whether the difference grows with the yield of the pair: then the per cent tells more than the mean."""
    cells = plots.cells()
    n = len(cells)
    if n < 5:
        return Check(
            "even_difference",
            None,
            None,
            "p above 0.05",
            f"{n} pairs are too few to see whether the difference grows with yield.",
        )
    p = correlation_p(cells[:, 1] - cells[:, 0], cells.mean(axis=1))
    passed = p >= SUSPICIOUS
    note = (
        "The difference is about the same in low and in high yielding pairs."
        if passed
        else "The difference changes with the yield of the pair: one average does not fit all of the "
        "field. Look at the pairs."
    )
    return Check("even_difference", passed, p, "p above 0.05", note)


def check_equal_scatter(plots: Plots, fit: Fit) -> Check:
    """Compare how far strips lie from their expectation, by treatment (Brown and Forsythe on residuals)."""
    counts = np.bincount(plots.treatment)
    if counts.min() < 3:
        return Check(
            "equal_scatter",
            None,
            None,
            "p above 0.05",
            "There are too few strips a treatment to compare their scatter.",
        )
    k, n = len(counts), len(plots.values)
    medians = np.array([np.median(fit.residuals[plots.treatment == j]) for j in range(k)])
    spread = np.abs(fit.residuals - medians[plots.treatment])
    means = np.bincount(plots.treatment, spread) / counts
    between = float(counts @ (means - spread.mean()) ** 2) / (k - 1)
    within = float(((spread - means[plots.treatment]) ** 2).sum()) / (n - k)
    p = f_tail(between / within, k - 1, n - k) if within > 0 else 1.0
    passed = p >= SUSPICIOUS
    note = (
        "All treatments scatter about equally."
        if passed
        else f"{plots.treatments[int(np.argmax(means))]} scatters more than the others; the common standard error is "
        "too small for it and too large for the rest."
    )
    return Check("equal_scatter", passed, p, "p above 0.05", note)


def check_drift(plots: Plots, fit: Fit, design: Design) -> list[Check]:
    """Look whether what is left over follows the order of the strips, or the time at which they were cut."""
    rest = pair_differences(plots) if design == "paired" else fit.residuals
    looks = (("drift", plots.order, "the order of the strips"), ("drift_in_time", plots.times, "the time of harvest"))
    return [
        _follow(name, rest, np.bincount(plots.block, places) / 2 if design == "paired" else places, along)
        for name, places, along in looks
        if places is not None
    ]


def _follow(name: str, rest: Floats, places: Floats, along: str) -> Check:
    """Look whether what is left over follows one thing."""
    if len(rest) < 5:
        return Check(name, None, None, "p above 0.05", f"There are too few strips to see a drift along {along}.")
    p = correlation_p(rest, places)
    passed = p >= SUSPICIOUS
    note = (
        f"What is left over does not follow {along}."
        if passed
        else f"What is left over rises or falls with {along}: the ground or the machine drifted. The p-values lean on "
        "a randomised order all the more."
    )
    return Check(name, passed, p, "p above 0.05", note)


def check_side(plots: Plots) -> Check:
    """Look whether the treatment always came on the same side of (or after) the control."""
    assert plots.order is not None
    cells = replace(plots, values=plots.order).cells()
    first = int((cells[:, 1] < cells[:, 0]).sum())
    n = len(cells)
    passed = None if n < 4 else 0 < first < n
    note = {
        None: "There are too few pairs to see whether sides were drawn by lot.",
        True: "The treatment came before the control in some pairs and after it in others.",
        False: "The treatment lies on the same side of the control in every pair: a slope of the ground or a drift "
        "of the machine looks just like an effect. "
        + ("A straight one was taken out; a curved one was not." if plots.systematic else ""),
    }[passed].rstrip()
    return Check("sides", passed, float(first), f"1 to {n - 1} of {n} pairs", note)


def correlation_p(first: Floats, second: Floats) -> float:
    """Give the two-sided p of a correlation; 1 where one side does not vary."""
    a, b = first - first.mean(), second - second.mean()
    size = float(np.sqrt((a @ a) * (b @ b)))
    if size == 0:
        return 1.0
    r = min(abs(float(a @ b)) / size, 1 - 1e-15)
    df = len(a) - 2
    return float(2 * special.stdtr(df, -r * np.sqrt(df / (1 - r * r))))
