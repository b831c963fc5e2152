"""Where an answer would be another one, and how that is said."""

import pytest

from proofstrip.stats.moves import Answers, Move, check_choices, tell_moves
from proofstrip.stats.verdict import judge


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (
            ("higher",),
            ("not_settled",),
            "the yield answer for new changes from “a higher yield” to “no clear difference”.",
        ),
        (
            ("not_settled", "does_not_pay"),
            ("higher", "does_not_pay"),
            "the yield answer for new changes from “no clear difference” to “a higher yield”; it still loses money.",
        ),
        (
            ("higher", "pays"),
            ("higher", "not_settled"),
            "the money answer for new changes from “it pays” to “not settled”; the yield answer is the same.",
        ),
        (
            ("higher", "pays"),
            ("refused", "refused"),
            "the yield answer for new changes from “a higher yield” to “no answer”, and the money answer from “it "
            "pays” to “no answer”.",
        ),
        (
            ("higher", "not_settled"),
            ("not_settled", "not_settled"),
            "the yield answer for new changes from “a higher yield” to “no clear difference”; whether it pays is "
            "still not settled.",
        ),
    ],
)
def test_which_answer_changes_and_to_what_is_said(before, after, said) -> None:
    move = Move("by the monitor", "new", Answers(*before), Answers(*after))
    assert tell_moves([move], "{},") == f"By the monitor, {said}"


def test_the_same_change_is_said_once() -> None:
    moves = [Move(f"block {name}", "new", Answers("higher"), Answers("not_settled")) for name in ("B1", "B4")]
    said = tell_moves(moves, "Leave out one part of the field ({}) and")
    assert said.startswith(
        "Leave out one part of the field (block B1 or block B4) and the yield answer for new changes"
    )
    assert said.count("changes") == 1


def test_choices_are_judged_by_whether_an_answer_moves() -> None:
    move = Move("by the monitor", "new", Answers("higher"), Answers("not_settled"))
    assert [check_choices(found).passed for found in (None, (), (move, move))] == [None, True, False]
    assert check_choices((move, move)).value == 1.0


@pytest.mark.parametrize(
    ("difference", "money", "word"),
    [
        ((0.1, 3.0), None, "higher"),
        ((-3.0, -0.1), None, "lower"),
        ((0.0, 3.0), None, "not_settled"),
        ((None, None), None, "refused"),
        ((0.1, 3.0), (0.5, 9.0), "pays"),
        ((0.1, 3.0), (-9.0, -0.5), "does_not_pay"),
        ((0.1, 3.0), (-9.0, 0.5), "not_settled"),
        ((0.1, 3.0), (None, None), "higher"),
    ],
)
def test_the_rule(difference, money, word) -> None:
    assert judge(difference, money) == word
