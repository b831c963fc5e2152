"""Treatments that are amounts of one thing: straight line, curve, and the dose that is best within what was tried."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import special

from proofstrip.errors import DataError
from proofstrip.stats.design import Plots
from proofstrip.stats.further import BestDose, DoseResponse, End
from proofstrip.stats.linear import Fit, Floats, f_tail
from proofstrip.stats.multiple import t_tail

AMOUNT = re.compile(r"^\s*(\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d*\.?\d+)\s*(.*?)\s*$")

PLACES = 201  # of the grid between the ends; Fieller's own limits are added to it


def read_doses(treatments: Sequence[str]) -> tuple[dict[str, float], str] | None:
    """Read treatment names as amounts, where all of them are numbers with one unit.

    Parameters
    ----------
    treatments : sequence of str

    Returns
    -------
    tuple of dict and str, or None
        Treatment -> dose, and the unit. Plain numbers are names; only a bare 0 may do without the unit.

    Examples
    --------
    >>> read_doses(["32,000 seeds/ac", "26,000 seeds/ac"])
    ({'32,000 seeds/ac': 32000.0, '26,000 seeds/ac': 26000.0}, 'seeds/ac')
    >>> read_doses(["1", "2", "3"]), read_doses(["40 lb/ac", "untreated"])
    (None, None)
    """
    doses, units = {}, {}
    for name in treatments:
        found = AMOUNT.match(name)
        if found is None:
            return None
        doses[name] = float(found[1].replace(",", ""))
        if found[2] or doses[name] != 0:
            units[found[2].casefold()] = found[2]
    if len(units) != 1 or "" in units or len(set(doses.values())) < len(doses):
        return None
    return doses, next(iter(units.values()))


def dose_column(strips: pd.DataFrame, treatments: Sequence[str]) -> tuple[dict[str, float], str] | None:
    """Read the doses from a column ``dose`` of numbers (or of amounts with one unit).

    Parameters
    ----------
    strips : pandas.DataFrame
    treatments : sequence of str
        Of each row.

    Returns
    -------
    tuple of dict and str, or None
        None where the column is empty throughout.

    Raises
    ------
    DataError
        When a cell is no amount, or strips of one treatment have different doses.
    """
    texts = ["" if pd.isna(value) else str(value).strip() for value in strips["dose"]]
    if not any(texts):
        return None
    found = [AMOUNT.match(text) for text in texts]
    wrong = [text for text, match in zip(texts, found, strict=True) if match is None]
    if wrong:
        raise DataError(
            f"strip table, column 'dose': {len(wrong)} of {len(texts)} cells are no amounts: "
            f"{', '.join(map(repr, wrong[:5]))}. Every strip needs its dose as a number, 0 where nothing was given."
        )
    doses: dict[str, float] = {}
    for treatment, match in zip(treatments, found, strict=True):
        assert match is not None
        amount = float(match[1].replace(",", ""))
        if doses.setdefault(treatment, amount) != amount:
            raise DataError(
                f"strip table, column 'dose': treatment {treatment!r} has the doses {doses[treatment]:g} and "
                f"{amount:g}. A treatment is one dose: give each dose its own treatment name."
            )
    units = {match[2] for match in found if match is not None and match[2]}
    return (doses, units.pop() if len(units) == 1 else "") if len(set(doses.values())) == len(doses) else None


def fit_doses(plots: Plots, fit: Fit, doses: Mapping[str, float], unit: str, confidence: float) -> DoseResponse | None:
    """Fit a straight line and a curve through the treatment means.

    Parameters
    ----------
    plots : Plots
    fit : Fit
        Of the design: its means, their covariance and degrees of freedom are used.
    doses : mapping of str to float
    unit : str
    confidence : float

    Returns
    -------
    DoseResponse or None
        None with fewer than three doses or without scatter.

    Notes
    -----
    Generalised least squares on the means. In complete blocks the tests are the orthogonal polynomial contrasts of the
    analysis of variance.

    References
    ----------
    Gomez, K. A. and Gomez, A. A. (1984). Statistical Procedures for Agricultural Research, 2nd ed., section 5.1.2.2.
    """
    amounts = np.array([doses[name] for name in plots.treatments])
    if len(amounts) < 3 or not fit.variance > 0:
        return None
    low, high, k = float(amounts.min()), float(amounts.max()), len(amounts)
    z = _scale(amounts, low, high)
    df = float(np.nanmin(fit.df[0, 1:]))
    line, spread, _ = _least_squares(np.vander(z, 2, increasing=True), fit.means, fit.covariance)
    b, covariance, lack = _least_squares(np.vander(z, 3, increasing=True), fit.means, fit.covariance)
    unscale = _scaling(low, high)
    curve = Curve(low, high, float(amounts[0]), b, covariance, df, confidence)
    return DoseResponse(
        unit=unit,
        doses={name: float(doses[name]) for name in plots.treatments},
        linear_p=float(t_tail(line[1:] / np.sqrt(spread[1, 1]), df)[0]),
        quadratic_p=float(t_tail(b[2:] / np.sqrt(covariance[2, 2]), df)[0]),
        lack_of_fit_p=f_tail(lack / (k - 3), k - 3, df) if k > 3 else None,
        slope=float(2 * line[1] / (high - low)),
        coefficients=tuple((unscale @ b).tolist()),
        covariance=tuple(map(tuple, (unscale @ covariance @ unscale.T).tolist())),
        df=df,
        confidence=confidence,
        most_yield=curve.best(0.0),
    )


def price_doses(response: DoseResponse, cost: float, worth: float, currency: str) -> DoseResponse:
    """Add the dose that pays best.

    Parameters
    ----------
    response : DoseResponse
    cost : float
        Of a unit of the dose, in units of yield: money a unit of dose over money a unit of yield.
    worth : float
        Money an acre that a unit of yield is worth.
    currency : str

    Returns
    -------
    DoseResponse
    """
    doses = list(response.doses.values())
    low, high = min(doses), max(doses)
    scale = np.linalg.inv(_scaling(low, high))
    b, covariance = scale @ np.array(response.coefficients), scale @ np.array(response.covariance) @ scale.T
    curve = Curve(low, high, doses[0], b, covariance, response.df, response.confidence)
    return replace(response, pays_best=curve.best(cost, worth), currency=currency)


def _scale(dose: Floats | float, low: float, high: float) -> Floats:
    """Bring doses to -1 at the lowest and +1 at the highest, so that digits are kept."""
    return np.asarray((dose - (high + low) / 2) / ((high - low) / 2))


def _scaling(low: float, high: float) -> Floats:
    """Give the matrix that turns coefficients of scaled doses into those of doses."""
    m, h = (high + low) / 2, (high - low) / 2
    return np.array([[1.0, -m / h, (m / h) ** 2], [0.0, 1 / h, -2 * m / h**2], [0.0, 0.0, 1 / h**2]])


@dataclass(frozen=True)
class Curve:
    """yield = b0 + b1 z + b2 z^2, z running from -1 at the lowest to +1 at the highest dose."""

    lowest: float
    highest: float
    control: float
    b: Floats
    covariance: Floats
    df: float
    confidence: float

    @property
    def t(self) -> float:
        """What |t| must exceed."""
        return float(-special.stdtrit(self.df, (1 - self.confidence) / 2))

    def best(self, cost: float, worth: float = 1.0) -> BestDose:
        """Give the dose at which worth x (yield - cost x dose) is largest within the range tried.

        Notes
        -----
        The interval holds the doses at which the slope of the gain is not told from zero, and an end towards which the
        gain is not told from rising: Fieller's theorem, kept within the range. A dose that gains surely less than the
        best is not among them: where the bend is not known, slopes alone would admit both ends.

        References
        ----------
        Fieller, E. C. (1954). Some problems in interval estimation. J. R. Statist. Soc. B 16, 175-185.
        """
        half = (self.highest - self.lowest) / 2
        slope, bend = float(self.b[1] - cost * half), float(self.b[2])
        inside = [-slope / (2 * bend)] if bend < 0 and abs(slope) < -2 * bend else []
        place = max([*inside, -1.0, 1.0], key=lambda z: slope * z + bend * z * z)
        candidates = self._candidates(slope, bend)
        candidates = [z for z in candidates if sum(self._gain(z, cost * half, place)) >= 0]
        end: End | None = None if place in inside else "lowest" if place < 0 else "highest"
        dose, low, high = (
            self.lowest + half * (z + 1) for z in (place, min([place, *candidates]), max([place, *candidates]))
        )
        gain, reach = self._gain(place, cost * half, float(_scale(self.control, self.lowest, self.highest)))
        return BestDose(dose, low, high, end, worth * gain, worth * (gain - reach), worth * (gain + reach))

    def _candidates(self, slope: float, bend: float) -> list[float]:
        """Give the places where the slope may be zero, and the ends towards which the gain may rise."""
        c, t2 = self.covariance, self.t**2
        square = 4 * (bend**2 - t2 * c[2, 2])
        linear = 4 * (slope * bend - t2 * c[1, 2])
        constant = slope**2 - t2 * c[1, 1]
        grid = np.linspace(-1, 1, PLACES)
        flat = grid[square * grid**2 + linear * grid + constant <= 0].tolist()
        flat += [float(z.real) for z in np.roots([square, linear, constant]) if abs(z.imag) < 1e-12]
        for z, sign in ((-1.0, 1), (1.0, -1)):
            reach = self.t * np.sqrt(c[1, 1] + 4 * z * c[1, 2] + 4 * c[2, 2])
            if sign * (slope + 2 * bend * z) <= reach:
                flat.append(z)
        return [z for z in flat if -1 <= z <= 1]

    def _gain(self, z: float, cost: float, other: float) -> tuple[float, float]:
        """Give the gain at one place over another, and the reach of its interval."""
        step = np.array([0.0, z - other, z * z - other * other])
        gain = float(step @ self.b) - cost * (z - other)
        return gain, self.t * float(np.sqrt(max(step @ self.covariance @ step, 0.0)))


def _least_squares(design: Floats, means: Floats, covariance: Floats) -> tuple[Floats, Floats, float]:
    """Give coefficients, their covariance, and the weighted sum of squares that is left."""
    weighted = np.linalg.solve(covariance, design)
    spread = np.linalg.inv(design.T @ weighted)
    b = spread @ (weighted.T @ means)
    rest = means - design @ b
    return b, np.asarray(spread), float(rest @ np.linalg.solve(covariance, rest))
