"""Whether it would still pay with another yield difference: one block left out, or another choice of cleaning."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from proofstrip.economics.record import Payback
from proofstrip.stats.results import Comparison, Difference
from proofstrip.stats.verdict import Ends

Pricing = Callable[[Comparison], tuple[Payback, ...]]


def price_again(comparison: Comparison, rows: Sequence[Difference], price: Pricing) -> list[Ends]:
    """Price other differences of the same trial.

    Parameters
    ----------
    comparison : Comparison
    rows : sequence of Difference
    price : callable
        What the trial itself was priced with.

    Returns
    -------
    list of tuple of float or None
        Ends of the net gain an acre.
    """
    # Only the interval counts here: without a standard error no chances are worked out.
    priced = price(replace(comparison, differences=tuple(replace(row, se=None) for row in rows)))
    return [(one.net_gain_per_ac_low, one.net_gain_per_ac_high) for one in priced]


def price_blocks(comparison: Comparison, price: Pricing) -> dict[tuple[str, str], Ends]:
    """Price every treatment, as it is and without each block.

    Parameters
    ----------
    comparison : Comparison
    price : callable

    Returns
    -------
    dict
        As ``stats.moves.find_block_moves`` takes it.
    """
    named = {(row.treatment, ""): row for row in comparison.differences}
    for row in comparison.differences:
        for one in row.leave_one_out.without if row.leave_one_out is not None else ():
            other = replace(row, difference=one.difference, low=one.low, high=one.high, df=one.df)
            named[row.treatment, one.block] = other
    return dict(zip(named, price_again(comparison, list(named.values()), price), strict=True))
