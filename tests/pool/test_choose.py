"""One crop, one control, every trial once; nothing is lost without its reason."""

import pytest

from proofstrip.errors import DataError
from proofstrip.pool.choose import choose_sites
from proofstrip.pool.sites import LeftOut, SiteList


def choose(*sites, left_out=(), **wanted):
    """Choose among sites."""
    return choose_sites(SiteList(tuple(sites), tuple(left_out)), **wanted)


def test_the_few_of_another_crop_or_control_are_left_out(make_site) -> None:
    odd, other = make_site(8, 0.01, crop="corn"), make_site(9, 0.03, control="bare header")
    kept = choose(make_site(1), make_site(2, 0.05), odd, make_site(3, 0.06, control="PLAIN  header"), other)
    assert [site.trial for site in kept.sites] == ["Trial 1", "Trial 2", "Trial 3"]
    reasons = {row.trial: row.reason for row in kept.left_out}
    assert reasons["Trial 8, 2024: lifters"] == "its crop is 'corn', that of the pooled trials 'soybean'"
    assert "its control is 'bare header'" in reasons["Trial 9, 2025: lifters"]


def test_the_one_named_is_kept_whatever_most_are(make_site) -> None:
    kept = choose(make_site(1), make_site(2, 0.05), make_site(3, 0.06, crop="corn"), crop="Corn")
    assert [site.trial for site in kept.sites] == ["Trial 3"]


def test_as_many_of_one_as_of_the_other_is_refused(make_site) -> None:
    with pytest.raises(DataError, match=r"several controls: 'plain header' \(trials: 1\), 'none' .*--control"):
        choose(make_site(1), make_site(2, 0.05, control="none"))


def test_a_control_that_no_trial_has_is_refused(make_site) -> None:
    with pytest.raises(DataError, match="no trial has the control 'nought'; there are 'plain header'"):
        choose(make_site(1), control="nought")


def test_same_trial_twice_counts_once(make_site) -> None:
    again = make_site(1, 0.041, source="runs/again")
    copied = make_site(1, trial="Copy", source="runs/copy")
    rounded = make_site(1, trial="Typed", from_table=True)
    kept = choose(make_site(1, source="runs/first"), make_site(2, 0.05), again, copied, rounded)
    assert [site.trial for site in kept.sites] == ["Trial 1", "Trial 2", "Typed"]
    assert "already (runs/first)" in kept.left_out[0].reason
    assert "to the last digit" in kept.left_out[1].reason


def test_nothing_left_says_why(make_site) -> None:
    with pytest.raises(DataError, match=r"no trial is left to be pooled. A, 2024 \(runs/a\): not replicated"):
        choose(left_out=[LeftOut("A, 2024", "runs/a", "not replicated")])


def test_what_ties_trials_together_is_said(make_site) -> None:
    sites = [make_site(n, 0.01 * n, season=2024, place="Home") for n in (1, 2, 3)] + [make_site(4, 0.05, season=2024)]
    codes = [notice.code for notice in choose(*sites, make_site(6, 0.07, crop="")).notices]
    assert codes == ["crop_unknown", "same_field", "one_season"]
