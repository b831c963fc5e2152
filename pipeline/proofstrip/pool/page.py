"""The page: the pooled answer on its first screen, the parts below it, and the pictures as files."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from proofstrip.pool.answer import PooledAnswer, PoolResult
from proofstrip.pool.parts import bare_span, build_parts, say_fragile
from proofstrip.pool.result import verdict_sentence
from proofstrip.pool.words import (
    OUTLAYS,
    an_area,
    chance_text,
    money_span,
    money_text,
    pct_span,
    pct_text,
    where_from,
    yield_text,
)
from proofstrip.report.answer import VERDICTS, Answer, Fact
from proofstrip.report.page import Head, set_page
from proofstrip.report.sheet import save_png
from proofstrip.report.tables import Table, capital
from proofstrip.report.words import ABSENT, Units, count, number, odds, p_value
from proofstrip.units import log_ratio_pct


def write_page(result: PoolResult, units: Units, version: str, folder: Path) -> None:
    """Write pool.html and the forest plots.

    Parameters
    ----------
    result : PoolResult
    units : Units
    version : str
        Of the program.
    folder : pathlib.Path
    """
    best = result.answers[0]
    names = " and ".join(row.treatment for row in result.answers)
    crop = next((site.crop for site in result.chosen.sites if site.crop), "").replace("_", " ")
    heading = f"{capital(names)} against {best.control}"
    seasons = sorted({site.season for site in result.chosen.sites})
    span = str(seasons[0]) if len(seasons) == 1 else f"{seasons[0]} to {seasons[-1]}"
    trials = len({(site.trial, site.place, site.season) for site in result.chosen.sites})
    place = " · ".join(filter(None, [crop, span, count(trials, "trial")]))
    parts = build_parts(result, units)
    (folder / "figures").mkdir(parents=True, exist_ok=True)
    footing = f"{heading}, {crop} {span}" + (". Invented data: for demonstration" if result.invented else "")
    for picture in (picture for part in parts for picture in part.pictures):
        save_png(picture.alone(footing), folder / "figures" / f"{picture.name}.png")
    head = Head(
        title=f"{heading}: trials pooled, {span}",
        kicker="Strip trials pooled",
        name=heading,
        place=place,
        footing=f"{heading}, {span}",
        invented=result.invented,
        wide=True,
    )
    text = set_page(head, _first_screen(result, units), parts, version)
    (folder / "pool.html").write_text(text, encoding="utf-8", newline="\n")


def _first_screen(result: PoolResult, units: Units) -> Answer:
    """Give the answer, its figures, and what moves it."""
    best, several = result.answers[0], len(result.answers) > 1
    first, _, more = verdict_sentence(result, units).partition(". ")
    flags = [("Hangs on single trials", say_fragile(row)) for row in result.answers if row.fragile]
    flags += [(FLAGS[row.code], row.message) for row in result.chosen.notices if row.code in FLAGS]
    flags += [("Scatter differs", _unlike(row)) for row in result.answers if (row.bartlett_p or 1) < 0.05]
    if result.left_out:
        flags.append(("Left out", f"{count(len(result.left_out), 'entry').replace('entrys', 'entries')}: see below."))
    facts = [] if several or best.effect is None else _facts(best, units)
    table = _several(result.answers, units) if several else None
    return Answer(VERDICTS[best.word], f"{capital(first)}." if more else capital(first), more, facts, table, flags)


FLAGS = {"one_season": "One season", "same_field": "Shared ground", "crop_unknown": "Crop not named"}


def _unlike(answer: PooledAnswer) -> str:
    """Say that one scatter for all is doubtful."""
    return (
        f"One scatter is used for all trials of {answer.treatment}, though their own scatters differ more than chance "
        f"(p {p_value(answer.bartlett_p)}). Pool with their own scatter too and compare."
    )


def _facts(answer: PooledAnswer, units: Units) -> list[Fact]:
    """Give the figures under the answer."""
    effect, part = answer.effect, answer.money
    if effect is None:
        return []
    text = f"Margin of error: {pct_span(effect.low, effect.high)}."
    if answer.yields is not None:
        text += f" In yield {yield_text(answer.yields, units)}."
    facts = [
        Fact("Difference, mean of all fields", pct_text(effect.estimate), text),
        Fact(
            "How sure",
            capital(where_from(answer)),
            f"By chance alone it would come out this far from zero {odds(effect.p_value)}. "
            + _agree(effect.i2_pct, effect.tau2),
        ),
        Fact(
            "Another field",
            pct_span(effect.prediction_low, effect.prediction_high),
            f"More yield there: {chance_text(effect.chance_above(0.0))}."
            + ("" if part is None else f" Pays there: {chance_text(part.chance_above(0.0))}."),
        ),
    ]
    if part is not None:
        span = money_span(part.low, part.high, answer.currency, units)
        facts.append(
            Fact(
                "Money",
                f"{money_text(part.estimate, answer.currency, units)} {an_area(units)}",
                f"{capital(OUTLAYS[answer.outlay])}. Margin of error: {span}.",
            )
        )
    return facts


def _agree(i2_pct: float, tau2: float) -> str:
    """Say in words how far the trials agree."""
    if tau2 == 0:
        return "The trials differ no more than the scatter of their strips explains."
    spread = number(100 * float(np.sqrt(tau2)), 1)
    return f"True differences lie about {spread} points apart from trial to trial (I² {number(i2_pct)} %)."


def _several(answers: Sequence[PooledAnswer], units: Units) -> Table:
    """Set the treatments side by side."""
    head = ("Treatment", "Answer", "Trials", "Difference, %", "Margin of error, %", "Another field, %", "Gain")
    rows = []
    for row in answers:
        effect, part = row.effect, row.money
        cells = [row.treatment, VERDICTS[row.word], str(len(row.sites)), ABSENT, ABSENT, ABSENT, ABSENT]
        if effect is not None:
            cells[3:6] = [
                number(log_ratio_pct(effect.estimate), 1, sign=True),
                bare_span(effect.low, effect.high),
                bare_span(effect.prediction_low, effect.prediction_high),
            ]
        if part is not None:
            cells[6] = money_text(part.estimate, row.currency, units)
        rows.append(cells)
    return Table(f"Each treatment against {answers[0].control}, each pooled by itself", head, "llrrrrr", rows)
