"""Letters: two treatments share one exactly when they do not differ."""

import numpy as np
import pytest

from proofstrip.stats.letters import assign_letters


@pytest.mark.parametrize("seed", range(30))
def test_letters_say_exactly_which_differ(seed: int) -> None:
    rng = np.random.default_rng(seed)
    k = int(rng.integers(2, 9))
    differ = np.triu(rng.random((k, k)) < 0.4, 1)
    differ |= differ.T
    names = [f"t{i}" for i in range(k)]
    letters = assign_letters(names, rng.normal(size=k).tolist(), differ)
    for i in range(k):
        for j in range(k):
            if i != j:
                assert bool(set(letters[names[i]]) & set(letters[names[j]])) != differ[i, j]


def test_no_letter_is_idle() -> None:
    # Absorbed columns: a letter whose holders all hold another one together says nothing.
    rng = np.random.default_rng(11)
    means = np.sort(rng.normal(size=12))
    differ = np.abs(means[:, None] - means[None, :]) > 0.8
    letters = assign_letters([str(i) for i in range(12)], means.tolist(), differ)
    holders = {
        letter: {name for name, own in letters.items() if letter in own} for letter in set("".join(letters.values()))
    }
    assert not any(a != b and holders[a] <= holders[b] for a in holders for b in holders)


def test_the_highest_mean_has_an_a() -> None:
    differ = np.array([[False, True, True], [True, False, True], [True, True, False]])
    assert assign_letters(["x", "y", "z"], [1.0, 3.0, 2.0], differ) == {"x": "c", "y": "a", "z": "b"}


def test_all_alike_share_one_letter() -> None:
    assert set(assign_letters(list("xyz"), [1.0, 2.0, 3.0], np.zeros((3, 3), dtype=bool)).values()) == {"a"}


def test_more_treatments_than_letters() -> None:
    k = 60
    letters = assign_letters([str(i) for i in range(k)], list(range(k, 0, -1)), ~np.eye(k, dtype=bool))
    assert letters["51"] == "Z"
    assert letters["52"] == "a2"
    assert len(set(letters.values())) == k
