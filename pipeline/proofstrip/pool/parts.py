"""The parts of the page below the answer: trials, the season to come, money, one trial left out, statistics."""

import dataclasses

import numpy as np
from markupsafe import Markup

from proofstrip.pool.answer import PooledAnswer, PoolResult, PoolSettings, site_word
from proofstrip.pool.figure import draw_forest, site_ends
from proofstrip.pool.sites import Site, SiteMoney
from proofstrip.pool.synthesis import Pooled, Slope
from proofstrip.pool.words import (
    OUTLAYS,
    an_area,
    money_span,
    money_text,
    next_sentences,
    pct_span,
    per_area,
)
from proofstrip.report.answer import VERDICTS, pay_back_sentence
from proofstrip.report.pictures import Picture
from proofstrip.report.sections import Section
from proofstrip.report.tables import Table, capital
from proofstrip.report.words import ABSENT, Units, count, is_number, money, number, p_value, times_in
from proofstrip.tier import evidence_word
from proofstrip.units import log_ratio_pct

CAUTION = (
    "This is not financial advice: it is arithmetic on past trials and on the prices put in. Other prices, another "
    "outlay or another area give another answer."
)
OWN_PRICES = (
    "Each trial enters at its own prices and costs, so the spread between trials holds the spread of prices too."
)
TERMS = (
    ("All together", "The mean effect over fields and seasons like these; a trial that says more weighs more."),
    (
        "Another field",
        "Where the true difference of a field that was not tried is expected, in a season like those of the trials. It "
        "is wider than the interval of the mean because fields and seasons differ.",
    ),
    (
        "Spread between trials (tau)",
        "How far true differences lie apart from trial to trial, beyond what the scatter of strips makes; of it and "
        "the scatter, I² is tau's share.",
    ),
    (
        "Weight",
        "Share of a trial in the mean. Trials with less scatter and more pairs weigh more; the larger the spread "
        "between trials, the more alike all weights.",
    ),
)


def bare_span(low: float, high: float) -> str:
    """Write an interval of log ratios as per cent without the sign of it."""
    return pct_span(low, high).removesuffix("\N{NO-BREAK SPACE}%")


def say_fragile(answer: PooledAnswer) -> str:
    """Say which trials the answer hangs on: by name where they are few."""
    rows = answer.fragile
    word = " or ".join(dict.fromkeys(VERDICTS[row.word].lower() for row in rows))
    if len(rows) > 2:
        who = f"any one of {count(len(rows), 'trial')}"
    else:
        who = " or without ".join(row.site.name for row in rows)
    return f"Without {who} the answer for {answer.treatment} would be another one: {word}."


def build_parts(result: PoolResult, units: Units) -> list[Section]:
    """Put the parts below the answer in order.

    Parameters
    ----------
    result : PoolResult
    units : Units

    Returns
    -------
    list of Section
    """
    confidence = result.settings.confidence
    parts = []
    for place, answer in enumerate(result.answers, start=1):
        end = "" if len(result.answers) == 1 else f": {answer.treatment}"
        tag = "" if place == 1 else f"_{place}"
        text = next_sentences(answer, result.settings, units)
        parts += [
            Section(
                f"trials{tag}",
                f"Trial by trial{end}",
                pictures=[_forest(answer, confidence, f"forest{tag}")],
                tables=[_index(answer, confidence, units)],
            ),
            Section(f"next{tag}", f"What another season may bring{end}", text) if text else None,
            _money_section(answer, result.settings, units, f"money{tag}", f"Money{end}"),
            _without_section(answer, units, f"without{tag}", end),
            _covariate_section(answer, result.settings, f"covariate{tag}", end),
            _statistics(answer, f"statistics{tag}", end, result.settings.shared_variance),
        ]
    if result.left_out:
        rows = [[row.trial, row.reason, row.source] for row in result.left_out]
        table = Table("Not pooled, and why", ("Trial", "Reason", "File"), "lll", rows)
        parts.append(Section("left_out", "What was left out", tables=[table]))
    parts.append(Section("words", "Words used here", terms=TERMS))
    return [part for part in parts if part is not None]


def _forest(answer: PooledAnswer, confidence: float, name: str) -> Picture:
    """Make the forest plot a picture."""
    rows = [(site, site_ends(site, confidence)) for site in answer.sites]
    said = "; ".join(
        f"{site.name} {number(ends[0], 1, True)} ({number(ends[1], 1, True)} to {number(ends[2], 1, True)})"
        for site, ends in rows
    )
    caption = (
        f"Each square is a trial, its line the trial's own margin of error ({times_in(confidence)}); a larger square "
        "weighs more."
    )
    if answer.effect is not None:
        said += f"; all together {pct_span(answer.effect.low, answer.effect.high)}"
        caption += " The diamond is the mean with its margin of error, the bar where another field is expected."
    return Picture(
        name,
        f"{answer.treatment} against {answer.control}, trial by trial",
        caption,
        f"Difference of {answer.treatment} from {answer.control} in per cent: {said}.",
        lambda sheet: draw_forest(answer, confidence, sheet),
    )


def _index(answer: PooledAnswer, confidence: float, units: Units) -> Table:
    """List the trials, each with its answer and a link to its report."""
    currencies = {site.money.currency for site in answer.sites if site.money}
    head = ["Trial", "Season", "Its answer", "Pairs", "Difference, % (margin of error)"]
    head += [f"Difference, {units.yield_name}"]
    head += [f"Gain, {'/'.join(sorted(currencies))} {an_area(units)}"] if currencies else []
    known = any(site.tier for site in answer.sites)
    rows = []
    for site in answer.sites:
        middle, low, high = site_ends(site, confidence)
        row = [
            _link(site),
            str(site.season),
            VERDICTS[site_word(site, confidence)],
            number(site.pairs, 0 if site.pairs == int(site.pairs) else 1),
            f"{number(middle, 1, sign=True)} ({number(low, 1, sign=True)} to {number(high, 1, sign=True)})",
            units.yields(site.difference_kg_ha, sign=True),
        ]
        if currencies:
            own = site.money
            row.append(ABSENT if own is None else _gain_cell(own, len(currencies) > 1, units))
        rows.append([*row, evidence_word({"tier": site.tier})] if known else row)
    align = "lrlrrr" + "r" * (len(head) - 6) + "l" * known
    head += ["Rests on"] if known else []
    return Table("The trials", tuple(head), align, rows, sortable=True)


def _gain_cell(own: SiteMoney, named: bool, units: Units) -> str:
    """Write a trial's gain; with its currency only where several stand in the column."""
    text = money_text(own.gain_per_ac, own.currency, units)
    return text if named else text.removesuffix(f"\N{NO-BREAK SPACE}{own.currency}")


def _link(site: Site) -> str:
    """Name a trial, with a link to its report where it has one."""
    if not site.report:
        return site.trial
    return Markup('<a href="{}">{}</a>').format(site.report, site.trial)


def _money_section(
    answer: PooledAnswer, settings: PoolSettings, units: Units, anchor: str, title: str
) -> Section | None:
    """Say what it earned, and on what that stands."""
    part = answer.money
    if part is None:
        return Section(anchor, title, [answer.why_no_money]) if answer.why_no_money else None
    owns = [site.money for site in answer.sites if site.money is not None]
    each = [own.price_per_bu if units.is_us and own.price_per_bu else own.price_per_t for own in owns]
    per = "bushel" if units.is_us and all(own.price_per_bu for own in owns) else "tonne"
    low, high = money(min(each), answer.currency), money(max(each), answer.currency)
    span = low if low == high else f"{low.split(chr(0xA0))[0]} to {high}"
    text = (
        f"Mean gain over all trials: {money_text(part.estimate, answer.currency, units)} {an_area(units)}, "
        f"{OUTLAYS[answer.outlay]}, margin of error {money_span(part.low, part.high, answer.currency, units)}. "
        f"Price of the grain: {span} a {per}. The rule of a single trial holds: it pays when the whole interval lies "
        "above zero."
    )
    basis = f"All trials are priced by {settings.prices}." if settings.prices else OWN_PRICES
    text += (
        _say_outlay([own.outlay_per_ac for own in owns], answer.currency, units) if answer.outlay == "included" else ""
    )
    if answer.payback is not None and answer.payback.investment > 0:
        text += " " + pay_back_sentence(dataclasses.asdict(answer.payback), units)
    return Section(anchor, title, [text], notes=[f"{basis} {CAUTION}"])


def _say_outlay(outlays: list[float], currency: str, units: Units) -> str:
    """Say what of the outlay is counted, and whether the trials count alike."""
    low, high = (money(per_area(end, units), currency) for end in (min(outlays), max(outlays)))
    if low == high:
        return f" Of the outlay {low} {an_area(units)} and year is counted."
    span = f"{low} to {high} {an_area(units)} and year"
    return f" The trials count different outlays, {span}: they answer different questions."


def _without_section(answer: PooledAnswer, units: Units, anchor: str, end: str) -> Section | None:
    """Show the answer without each trial in turn."""
    if not answer.without_one or answer.effect is None:
        return None
    priced = answer.money is not None
    head = ["Trial", "Answer", "Difference, % (margin of error)"]
    head += [f"Gain, {answer.currency} {an_area(units)}"] if priced else []
    head += ["The trial's own weight, %"]
    rows = []
    for row, weight in zip(answer.without_one, answer.effect.weights, strict=True):
        effect, part = row.effect, row.money
        span = bare_span(effect.low, effect.high)
        cells = [row.site.name, VERDICTS[row.word], f"{number(log_ratio_pct(effect.estimate), 1, sign=True)} ({span})"]
        if priced:
            cells.append(ABSENT if part is None else _gain_span(part, units))
        rows.append([*cells, number(100 * weight)])
    text = say_fragile(answer) if answer.fragile else "The answer stays the same whichever single trial is left out."
    table = Table("All together without", tuple(head), "ll" + "r" * (len(head) - 2), rows)
    return Section(anchor, f"One trial left out{end}", [text], tables=[table])


def _gain_span(part: Pooled, units: Units) -> str:
    """Write a gain with its interval, without a currency."""
    middle, low, high = (number(per_area(end, units), 2, sign=True) for end in (part.estimate, part.low, part.high))
    return f"{middle} ({low} to {high})"


def _covariate_section(answer: PooledAnswer, settings: PoolSettings, anchor: str, end: str) -> Section | None:
    """Say whether the effect moves with a covariate of the trials."""
    name, confidence = settings.covariate, settings.confidence
    if name is None or answer.effect is None:
        return None
    slope = answer.slope
    if slope is None:
        return Section(anchor, f"Does it depend on {name}?{end}", [answer.why_no_slope])
    settled = "More than chance" if slope.low > 0 or slope.high < 0 else "No more than chance"
    unit, middle, low, high = _scaled_slope(slope, answer, name)
    values = [site.covariates[name] for site in answer.sites]
    least, most = min(values), max(values)
    text = (
        f"{settled} ({times_in(confidence)}): for {unit} more of {name} the difference changes by {middle} points "
        f"(margin of error {low} to {high}; p {p_value(slope.p_value)}). The trials span {least:.4g} to {most:.4g}. "
        f" {capital(count(len(answer.sites), 'trial'))} show a pattern and no "
        "cause: fields that differ in one thing differ in others. A covariate chosen after looking at the results "
        "proves nothing."
    )
    return Section(anchor, f"Does it depend on {name}?{end}", [text])


def _scaled_slope(slope: Slope, answer: PooledAnswer, name: str) -> tuple[str, str, str, str]:
    """Give the slope for a step of the covariate that is a power of ten within its range."""
    values = [site.covariates[name] for site in answer.sites]
    step = 10.0 ** np.floor(np.log10(np.ptp(values)))
    told = [number(100 * step * part, 2, sign=True) for part in (slope.slope, slope.low, slope.high)]
    return f"{step:g}", told[0], told[1], told[2]


def _statistics(answer: PooledAnswer, anchor: str, end: str, shared: bool) -> Section | None:
    """Give the figures that a statistician asks for."""
    effect = answer.effect
    if effect is None:
        return None

    def share(value: float) -> str:
        return number(100 * float(np.sqrt(value)), 2)

    rows = [
        ["Mean log ratio", f"{effect.estimate:.5f}".replace("-", "−")],
        ["Its standard error (modified Hartung-Knapp)", f"{effect.se:.5f}"],
        ["Degrees of freedom: mean, another field", f"{effect.df}, {effect.prediction_df}"],
        ["p", p_value(effect.p_value)],
        ["tau, points (REML)", f"{share(effect.tau2)} ({share(effect.tau2_low)} to {share(effect.tau2_high)})"],
        ["tau, points (Paule-Mandel)", share(effect.tau2_paule_mandel)],
        ["I², %", f"{number(effect.i2_pct)} ({number(effect.i2_low_pct)} to {number(effect.i2_high_pct)})"],
        ["Q, p", f"{number(effect.q, 2)}, {p_value(effect.q_p)}"],
        ["Hartung-Knapp factor before its floor of 1", number(effect.factor, 2)],
    ]
    if is_number(answer.bartlett_p):
        rows.append(["Bartlett's p of equal scatter", p_value(answer.bartlett_p)])
    text = (
        "Random effects on the log of treatment over control; the variance between trials by restricted maximum "
        "likelihood. The mean's interval takes Student's t with one degree of freedom less than trials, another "
        "field's with two less. "
        + ("All trials share one scatter." if shared else "Each trial has the standard error of its own strips.")
    )
    table = Table("Pooling", ("Figure", "Value"), "lr", rows)
    return Section(anchor, f"Statistics{end}", [text], tables=[table])
