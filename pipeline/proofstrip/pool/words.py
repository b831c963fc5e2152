"""What the pooled answer says, for a grower: per cent, yield and money with their intervals, and the season to come."""

import numpy as np

from proofstrip.pool.answer import PooledAnswer, PoolSettings
from proofstrip.pool.synthesis import FEWEST_SITES, Pooled
from proofstrip.report.words import ABSENT, Units, count, money, number
from proofstrip.stats.power import MOST_PAIRS, pairs_needed
from proofstrip.stats.wording import MARGIN, first_margin
from proofstrip.units import HA_PER_ACRE, log_ratio_pct

OUTLAYS = {
    "included": "outlay included",
    "before": "before the outlay",
    "none": "no outlay to pay back",
}


def pct_text(log_ratio: float) -> str:
    """Write a log ratio as per cent with its sign."""
    return number(log_ratio_pct(log_ratio), 1, sign=True) + "\N{NO-BREAK SPACE}%"


def pct_span(low: float, high: float) -> str:
    """Write an interval of log ratios as per cent."""
    return f"{number(log_ratio_pct(low), 1, sign=True)} to {pct_text(high)}"


def per_area(per_ac: float, units: Units) -> float:
    """Turn a sum an acre into one for the page's unit of area."""
    return per_ac if units.is_us else per_ac / HA_PER_ACRE


def money_text(per_ac: float, currency: str, units: Units) -> str:
    """Write a sum an acre with its sign, for the page's unit of area."""
    return money(per_area(per_ac, units), currency, sign=True)


def money_span(low: float, high: float, currency: str, units: Units) -> str:
    """Write an interval of sums an acre, the currency once."""
    return f"{money_text(low, currency, units).split(chr(0xA0))[0]} to {money_text(high, currency, units)}"


def an_area(units: Units) -> str:
    """Say "an acre" or "a hectare"."""
    return f"{'an' if units.is_us else 'a'} {units.area_word}"


def chance_text(chance: float) -> str:
    """Say a chance in words, no finer than a few trials let it be known.

    Parameters
    ----------
    chance : float

    Returns
    -------
    str

    Examples
    --------
    >>> [chance_text(chance) for chance in (0.998, 0.93, 0.61, 0.02, 0.004)]
    ['more than 99 in 100', 'about 93 in 100', 'about 60 in 100', 'about 2 in 100', 'less than 1 in 100']
    """
    if chance > 0.99:
        return "more than 99 in 100"
    if chance < 0.01:
        return "less than 1 in 100"
    step = 1 if chance >= 0.9 or chance <= 0.1 else 5
    return f"about {step * round(100 * chance / step)} in 100"


def where_from(answer: PooledAnswer) -> str:
    """Say on how many trials and seasons an answer stands."""
    seasons = answer.seasons
    span = f"one season ({seasons[0]})" if len(seasons) == 1 else f"{count(len(seasons), 'season')}"
    return f"{count(len(answer.sites), 'trial')} in {span}"


def answer_sentence(answer: PooledAnswer, settings: PoolSettings, units: Units) -> str:
    """Say the answer about one treatment.

    Parameters
    ----------
    answer : PooledAnswer
    settings : PoolSettings
    units : Units

    Returns
    -------
    str
        Two or three sentences.
    """
    name, control, effect = answer.treatment, answer.control, answer.effect
    if effect is None:
        alone = "It stands" if len(answer.sites) == 1 else "They stand side by side"
        return (
            f"There is no pooled answer for {name}: {count(len(answer.sites), 'trial')} cannot tell how far fields and "
            f"seasons differ, and {count(FEWEST_SITES, 'trial')} are the least that can. {alone} below, each with its "
            "own answer."
        )
    first = first_margin(settings.confidence)
    sure = first if answer.money is None else f"{MARGIN}:"
    yields = f"{pct_text(effect.estimate)} ({sure} {pct_span(effect.low, effect.high)})"
    if answer.yields is not None:
        yields += f", {units.yield_text(answer.yields.estimate, sign=True)}"
    if answer.money is None:
        return _yield_sentence(answer, yields) + _more(answer, effect, settings)
    part = answer.money
    verb = ("earns", "loses") if settings.prices else ("earned", "lost")
    amount = money(per_area(abs(part.estimate), units), answer.currency)
    prices = f"the prices of {settings.prices}" if settings.prices else "each trial's own prices"
    gain = (
        f"over {where_from(answer)} it {verb[part.estimate < 0]} {amount} {an_area(units)} against {control}, "
        f"{OUTLAYS[answer.outlay]}, at {prices} ({first} {money_span(part.low, part.high, answer.currency, units)})"
    )
    head = {"pays": f"With {name}, it pays", "does_not_pay": f"With {name}, it does not pay"}.get(
        answer.word, f"With {name}, the trials together do not settle whether it pays"
    )
    return f"{head}: {gain}. Its yield is {yields}." + _more(answer, part, settings)


def _yield_sentence(answer: PooledAnswer, yields: str) -> str:
    """Say the answer where there are no prices."""
    over = where_from(answer)
    if answer.word == "not_settled":
        return (
            f"The trials together do not settle whether {answer.treatment} yields more or less than {answer.control}: "
            f"over {over} the difference is {yields}."
        )
    more = "more" if answer.word == "higher" else "less"
    return f"With {answer.treatment}, it yields {more} than {answer.control}: over {over} the difference is {yields}."


def _more(answer: PooledAnswer, part: Pooled, settings: PoolSettings) -> str:
    """Say how many more trials would settle what is not settled."""
    if answer.word != "not_settled":
        return ""
    k = len(answer.sites)
    needed = pairs_needed(part.estimate, part.se * float(np.sqrt(k)), settings.confidence, settings.power)
    if needed is None:
        return (
            f" More than {MOST_PAIRS} trials would be needed to settle it if the true mean is the one seen here: for "
            "practical purposes it comes out even."
        )
    more = max(needed - k, 1)
    return (
        f" If the true mean is the one seen here, about {count(more, 'more trial')} like these would settle it with a "
        f"chance of {100 * settings.power:.0f}\N{NO-BREAK SPACE}%."
    )


def next_sentences(answer: PooledAnswer, settings: PoolSettings, units: Units) -> list[str]:
    """Say what another field can expect, in a season like those of the trials.

    Parameters
    ----------
    answer : PooledAnswer
    settings : PoolSettings
    units : Units

    Returns
    -------
    list of str
    """
    effect, part = answer.effect, answer.money
    if effect is None:
        return []
    sure = f"{100 * settings.confidence:.0f} in 100"
    seasons = answer.seasons
    like = f"a season like {seasons[0]}" if len(seasons) == 1 else "a season like these"
    said = (
        f"In {like}, on another field like these, the true difference is expected at "
        f"{pct_span(effect.prediction_low, effect.prediction_high)} ({sure} fields). The chance that "
        f"{answer.treatment} yields more there is {chance_text(effect.chance_above(0.0))}."
    )
    sentences = [said]
    if part is not None:
        prices = f"the prices of {settings.prices}" if settings.prices else "prices and costs like those of the trials"
        pays = {
            "before": "earns more than it costs to run, the outlay not counted,",
            "included": "pays there, outlay included,",
            "none": "pays there",
        }[answer.outlay]
        span = money_span(part.prediction_low, part.prediction_high, answer.currency, units)
        sentences.append(
            f"In money, at {prices}, that is {span} {an_area(units)}. The chance that "
            f"it {pays} is {chance_text(part.chance_above(0.0))}."
        )
    if len(seasons) == 1:
        sentences.append(
            "All trials are of one season. They say how fields differ and nothing of how seasons do: another season "
            "may lie outside this range."
        )
    elif len(seasons) < 4:
        sentences.append(
            f"{count(len(seasons), 'season').capitalize()} are few: weather that none of them had is not in this range."
        )
    if effect.prediction_df < 3:
        sentences.append("With so few trials the range is wide because the spread between fields is itself a guess.")
    return sentences


def yield_text(part: Pooled | None, units: Units) -> str:
    """Write a pooled yield difference with its interval; a dash where there is none."""
    if part is None:
        return ABSENT
    span = f"{units.yields(part.low, sign=True)} to {units.yield_text(part.high, sign=True)}"
    return f"{units.yield_text(part.estimate, sign=True)} ({span})"
