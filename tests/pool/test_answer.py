"""The pooled answer: its word, its money, what is refused, and what the sentences say of it."""

import numpy as np
import pytest

from proofstrip.pool.answer import PoolSettings, pool_sites
from proofstrip.pool.choose import choose_sites
from proofstrip.pool.parts import build_parts, say_fragile
from proofstrip.pool.result import describe_pool
from proofstrip.pool.sites import SiteList
from proofstrip.pool.synthesis import pool_effects
from proofstrip.pool.words import answer_sentence, next_sentences
from proofstrip.report.words import make_units

SETTINGS = PoolSettings(0.90, 0.80)
US = make_units("us", 67.2511)
EFFECTS = (0.030, 0.045, 0.052, 0.038, 0.041)


def pool(sites, **choices):
    """Pool sites."""
    settings = PoolSettings(0.90, 0.80, **choices)
    return pool_sites(choose_sites(SiteList(tuple(sites))), settings)


def test_effect_is_that_of_the_formulas(make_site) -> None:
    (answer,) = pool(make_site(n, y) for n, y in enumerate(EFFECTS)).answers
    order = [EFFECTS[n] for n in (0, 2, 4, 1, 3)]  # by season
    assert answer.effect == pool_effects(np.array(order), np.full(5, 1e-4), 0.90)
    assert answer.word == "higher"
    assert answer.why_no_money.startswith("No trial has prices")


@pytest.mark.parametrize(("shift", "word"), [(0.0, "higher"), (-0.04, "not_settled"), (-0.09, "lower")])
def test_word_follows_the_interval(make_site, shift, word) -> None:
    (answer,) = pool(make_site(n, y + shift) for n, y in enumerate(EFFECTS)).answers
    assert answer.word == word


@pytest.mark.parametrize(("shift", "word"), [(0.0, "pays"), (-20.0, "not_settled"), (-60.0, "does_not_pay")])
def test_word_with_prices_follows_the_money(make_site, make_money, shift, word) -> None:
    gains = (18.0, 22.0, 15.0, 25.0)
    (answer,) = pool(make_site(n, EFFECTS[n], money=make_money(gains[n] + shift)) for n in range(4)).answers
    assert answer.word == word
    assert answer.money is not None
    assert answer.money.estimate == pytest.approx(20.0 + shift)


def test_two_trials_stand_side_by_side(make_site) -> None:
    result = pool([make_site(1), make_site(2, 0.05)])
    (answer,) = result.answers
    assert (answer.effect, answer.money, answer.word) == (None, None, "refused")
    described = describe_pool(result, US, 67.2511)
    assert described["treatments"][0]["effect"] is None
    assert [site["trial"] for site in described["treatments"][0]["sites"]] == ["Trial 2", "Trial 1"]
    assert "no pooled answer" in described["verdict"]["sentence"]


@pytest.mark.parametrize(
    ("change", "said"),
    [({"currency": "CAD"}, "priced in CAD and USD"), ({"outlay": "before"}, "some trials count the outlay in")],
)
def test_money_of_two_kinds_is_not_pooled(make_site, make_money, change, said) -> None:
    sites = [make_site(n, y, money=make_money(20.0 + n)) for n, y in enumerate(EFFECTS)]
    sites[-1] = make_site(4, 0.041, money=make_money(20.0, **change))
    (answer,) = pool(sites).answers
    assert answer.money is None
    assert said in answer.why_no_money
    assert answer.word == "higher"


def test_each_treatment_is_pooled_over_the_trials_that_have_it(make_site) -> None:
    sites = [make_site(n, y) for n, y in enumerate(EFFECTS)]
    sites += [make_site(n, y - 0.2, treatment="Rollers") for n, y in enumerate(EFFECTS[:3])]
    answers = pool(sites).answers
    assert [(a.treatment, len(a.sites), a.word) for a in answers] == [("lifters", 5, "higher"), ("Rollers", 3, "lower")]


def test_answer_that_hangs_on_one_trial_is_fragile(make_site) -> None:
    effects = (0.03, 0.028, 0.033, 0.030, -0.02)
    (answer,) = pool(make_site(n, y, se=0.008) for n, y in enumerate(effects)).answers
    assert answer.word == "not_settled"
    assert [(row.site.trial, row.word) for row in answer.fragile] == [("Trial 4", "higher")]


def test_three_trials_leave_none_out(make_site) -> None:
    (answer,) = pool(make_site(n, y) for n, y in enumerate(EFFECTS[:3])).answers
    assert answer.without_one == ()


def test_slope_needs_trials_that_differ_and_have_it(make_site) -> None:
    same = pool([make_site(n, y, covariates={"rain": 3.0}) for n, y in enumerate(EFFECTS)], covariate="rain")
    assert "differ in rain" in same.answers[0].why_no_slope
    some = [make_site(n, y, covariates={"rain": 3.0} if n else {}) for n, y in enumerate(EFFECTS)]
    assert pool(some, covariate="rain").answers[0].why_no_slope == "There is no rain for Trial 0, 2024."


def test_slope_recovers_a_line(make_site) -> None:
    sites = [make_site(n, 0.01 + 0.02 * n, se=0.002, covariates={"rain": float(n)}) for n in range(6)]
    slope = pool(sites, covariate="rain").answers[0].slope
    assert slope is not None
    assert (slope.slope, slope.intercept) == (pytest.approx(0.02), pytest.approx(0.01))


def test_shared_scatter_is_the_mean_of_all_by_degrees_of_freedom(make_site, make_money) -> None:
    sites = [
        make_site(1, 0.04, se=0.01, df=3.0, pairs=4.0, money=make_money(20.0, se_per_ac=2.0)),
        make_site(2, 0.05, se=0.02, df=5.0, pairs=6.0, money=make_money(20.0, se_per_ac=2.0)),
        make_site(3, 0.03, se=0.02, df=4.0, pairs=5.0, money=make_money(20.0, se_per_ac=2.0)),
    ]
    (answer,) = pool(sites, shared_variance=True).answers
    shared = (3 * 4 * 1e-4 + 5 * 6 * 4e-4 + 4 * 5 * 4e-4) / 12
    by_name = {site.trial: site for site in answer.sites}
    assert by_name["Trial 1"].se == pytest.approx(np.sqrt(shared / 4))
    assert by_name["Trial 1"].df == 12
    assert by_name["Trial 2"].money.se_per_ac == pytest.approx(2.0 * np.sqrt(shared / 6) / 0.02)


def test_sentences_say_trials_seasons_and_chances(make_site, make_money) -> None:
    sites = [make_site(n, EFFECTS[n], money=make_money(18.0 + n)) for n in range(5)]
    (answer,) = pool(sites).answers
    said = answer_sentence(answer, SETTINGS, US)
    assert "With lifters, it pays: over five trials in two seasons it earned 20.00\N{NO-BREAK SPACE}USD an acre" in said
    assert "outlay included, at each trial's own prices" in said
    later = " ".join(next_sentences(answer, SETTINGS, US))
    assert "In a season like these, on another field like these" in later
    assert "pays there, outlay included, is more than 99 in 100" in later
    assert "Two seasons are few" in later


def test_one_season_says_nothing_of_others(make_site) -> None:
    (answer,) = pool(make_site(n, y, season=2025) for n, y in enumerate(EFFECTS)).answers
    later = " ".join(next_sentences(answer, SETTINGS, US))
    assert "In a season like 2025" in later
    assert "nothing of how seasons do" in later


def test_not_settled_says_how_many_more_trials(make_site) -> None:
    (answer,) = pool(make_site(n, y - 0.037) for n, y in enumerate(EFFECTS)).answers
    assert answer.word == "not_settled"
    said = answer_sentence(answer, SETTINGS, US)
    assert "more trials like these would settle it with a chance of 80" in said


def test_money_before_the_outlay_is_called_so(make_site, make_money) -> None:
    sites = [make_site(n, EFFECTS[n], money=make_money(18.0 + n, outlay="before")) for n in range(5)]
    (answer,) = pool(sites).answers
    assert "before the outlay" in answer_sentence(answer, SETTINGS, US)
    assert "the outlay not counted" in " ".join(next_sentences(answer, SETTINGS, US))


@pytest.mark.parametrize(
    ("effects", "said"),
    [
        (
            (0.03, 0.028, 0.033, 0.030, -0.02),
            "Without Trial 4, 2024 the answer for lifters would be another one: higher",
        ),
        ((0.011, 0.010, 0.012, 0.0115, 0.0), "Without any one of four trials the answer for lifters would be another"),
    ],
)
def test_trials_that_the_answer_hangs_on_are_named_where_few(make_site, effects, said) -> None:
    (answer,) = pool(make_site(n, y, se=0.008) for n, y in enumerate(effects)).answers
    assert said in say_fragile(answer)


def test_outlays_that_differ_are_said(make_site, make_money) -> None:
    moneys = [make_money(18.0 + n, outlay_per_ac=5.0 + 5.0 * (n == 2)) for n in range(5)]
    result = pool([make_site(n, EFFECTS[n], money=money) for n, money in enumerate(moneys)])
    (section,) = [part for part in build_parts(result, US) if part.anchor == "money"]
    assert "different outlays, 5.00\N{NO-BREAK SPACE}USD to 10.00\N{NO-BREAK SPACE}USD an acre" in section.text[0]
