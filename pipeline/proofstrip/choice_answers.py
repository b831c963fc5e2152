"""What the answer would be under every other choice, in yield and in money."""

from dataclasses import replace

from proofstrip.economics import price_again
from proofstrip.economics.again import Pricing
from proofstrip.sensitivity import Alternative
from proofstrip.stats import Comparison
from proofstrip.stats.moves import Answers, Move
from proofstrip.stats.verdict import judge

NOTHING = (None, None)


def price_choices(
    alternatives: tuple[Alternative, ...], headline: Comparison, price: Pricing
) -> tuple[Alternative, ...]:
    """Say whether each treatment would pay under every other choice.

    Parameters
    ----------
    alternatives : tuple of Alternative
    headline : Comparison
    price : callable
        What the headline was priced with.

    Returns
    -------
    tuple of Alternative
    """
    rows = {row.treatment: row for row in headline.differences}
    own = dict(zip(rows, price_again(headline, list(rows.values()), price), strict=True))
    others = {
        place: replace(rows[one.treatment], difference=gap, low=one.low_kg_ha, high=one.high_kg_ha, df=one.df)
        for place, one in enumerate(alternatives)
        if (gap := one.difference_kg_ha) is not None
    }
    ends = dict(zip(others, price_again(headline, list(others.values()), price), strict=True))
    return tuple(
        replace(one, money=judge(NOTHING, ends.get(place, NOTHING)), money_before=judge(NOTHING, own[one.treatment]))
        for place, one in enumerate(alternatives)
    )


def find_choice_moves(alternatives: tuple[Alternative, ...], headline: Comparison) -> tuple[Move, ...] | None:
    """Find the choices under which an answer would be another one.

    Parameters
    ----------
    alternatives : tuple of Alternative
        Priced, where there are prices.
    headline : Comparison

    Returns
    -------
    tuple of Move or None
        None where nothing else was tried.
    """
    if not alternatives:
        return None
    rows = {row.treatment: row for row in headline.differences}
    moves = []
    for one in alternatives:
        own = rows[one.treatment]
        before = Answers(judge((own.low, own.high)), one.money_before)
        moves.append(Move(one.said, one.treatment, before, Answers(judge((one.low_kg_ha, one.high_kg_ha)), one.money)))
    return tuple(move for move in moves if move.before != move.after)
