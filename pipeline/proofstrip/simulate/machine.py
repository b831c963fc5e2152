"""Grain on its way through a combine: transport, two mixing stages, tailings that go round again."""

import numpy as np
from scipy.signal import lfilter

from proofstrip.simulate.layout import Floats, Ints

FLOW_MEMORY_S = 3.0


def lag(series: Floats, mean_steps: float) -> Floats:
    """Send a series through one well-mixed vessel in which grain stays ``mean_steps`` on average.

    Parameters
    ----------
    series : Floats
        Amount entering per step, time along the last axis.
    mean_steps : float

    Returns
    -------
    Floats
        Amount leaving per step; nothing is lost.
    """
    stay = mean_steps / (1 + mean_steps)
    return np.asarray(lfilter([1 - stay], [1.0, -stay], series, axis=-1), dtype=np.float64)


def mix(series: Floats, mixing_steps: float, tail_share: float, tail_steps: float) -> Floats:
    """Send a series through two equal vessels, then a share of it through a third.

    Parameters
    ----------
    series : Floats
        Amount entering per step, time along the last axis.
    mixing_steps : float
        Mean stay in the two vessels together.
    tail_share, tail_steps : float
        Share that goes round again and its mean extra stay.

    Returns
    -------
    Floats
    """
    mixed = lag(lag(series, mixing_steps / 2), mixing_steps / 2)
    return (1 - tail_share) * mixed + tail_share * lag(mixed, tail_steps)


def transit_steps(inflow_kg_s: Floats, step_s: float, pure_s: float, flow: tuple[float, float]) -> Floats:
    """Give the transport time of the grain cut in each step, without mixing.

    Parameters
    ----------
    inflow_kg_s : Floats
        Grain cut [kg/s].
    step_s, pure_s : float
        Length of a step; transport time at the nominal flow [s].
    flow : tuple of float
        Nominal flow [kg/s] and the power of minus which transport time follows the flow.

    Returns
    -------
    Floats
        In steps. An empty machine fills slower and empties slower than it runs when the power is not 0.
    """
    nominal, power = flow
    level = lag(inflow_kg_s, FLOW_MEMORY_S / step_s) / nominal
    return pure_s / step_s * np.clip(np.maximum(level, 1e-6) ** -power, 0.7, 1.8)


def carry(amounts: Floats, transit: Floats, extra_steps: int) -> Floats:
    """Move what enters in each step to the step in which it arrives.

    Parameters
    ----------
    amounts : Floats
        Quantities down, steps across.
    transit : Floats
        In steps, not necessarily whole.
    extra_steps : int
        Steps added at the end for what is still under way.

    Returns
    -------
    Floats
        Same sums as ``amounts``.
    """
    arrival = np.arange(len(transit)) + transit
    whole: Ints = np.floor(arrival).astype(np.int64)
    late = arrival - whole
    total = len(transit) + extra_steps
    return np.stack(
        [
            np.bincount(whole, row * (1 - late), total + 1)[:total] + np.bincount(whole + 1, row * late, total)[:total]
            for row in amounts
        ]
    )


def carry_back(factor: Floats, transit: Floats, mixing: tuple[float, float, float]) -> Floats:
    """Give, for the grain cut in each step, the mean of a factor that acts where it leaves.

    Parameters
    ----------
    factor : Floats
        Per step at the outlet.
    transit : Floats
        As for :func:`carry`.
    mixing : tuple of float
        The three numbers of :func:`mix`.

    Returns
    -------
    Floats
        Weighing the inflow with it gives the same sum as weighing the outflow with ``factor``.
    """
    ahead = mix(factor[::-1], *mixing)[::-1]
    arrival = np.arange(len(transit)) + transit
    return np.interp(arrival, np.arange(len(ahead)), ahead)
