"""Where the answer would be another one: without one block, or under another choice."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from proofstrip.stats.results import Check, Difference
from proofstrip.stats.verdict import Ends, Word, judge

YIELD_WORDS: dict[Word, str] = {
    "higher": "a higher yield",
    "lower": "a lower yield",
    "not_settled": "no clear difference",
    "refused": "no answer",
}
MONEY_WORDS: dict[Word, str] = {
    "pays": "it pays",
    "does_not_pay": "it loses money",
    "not_settled": "not settled",
    "refused": "no answer",
}
STAYS: dict[Word, str] = {
    "pays": "it still pays",
    "does_not_pay": "it still loses money",
    "not_settled": "whether it pays is still not settled",
}
BLOCK_CHECK, CHOICE_CHECK, ALLOWED = "one_block_left_out", "other_choices", "0 changes"


@dataclass(frozen=True)
class Answers:
    """What is said of one treatment.

    Attributes
    ----------
    yields : str
    money : str or None
        None without prices.
    """

    yields: Word
    money: Word | None = None


@dataclass(frozen=True)
class Move:
    """One treatment's answer, and what it would be.

    Attributes
    ----------
    under : str
        What is done otherwise, as it stands in a sentence: ``block B1``, ``by the yield monitor``.
    treatment : str
    before, after : Answers
    """

    under: str
    treatment: str
    before: Answers
    after: Answers


def find_block_moves(
    rows: Iterable[Difference], money: Mapping[tuple[str, str], Ends] | None = None
) -> tuple[Move, ...]:
    """Find the blocks without which an answer would be another one.

    Parameters
    ----------
    rows : iterable of Difference
    money : mapping, optional
        Ends of the net gain by treatment and block left out; an empty block is the trial as it is.

    Returns
    -------
    tuple of Move
    """
    found = []
    for row in rows:
        before = _answers((row.low, row.high), row.treatment, "", money)
        for one in row.leave_one_out.without if row.leave_one_out is not None else ():
            after = _answers((one.low, one.high), row.treatment, one.block, money)
            if after != before:
                found.append(Move(f"block {one.block}", row.treatment, before, after))
    return tuple(found)


def _answers(difference: Ends, treatment: str, block: str, money: Mapping[tuple[str, str], Ends] | None) -> Answers:
    """Give the answers by the ends of the intervals."""
    ends = None if money is None else money.get((treatment, block))
    return Answers(judge(difference), None if ends is None else judge((None, None), ends))


def check_blocks(rows: Sequence[Difference], money: Mapping[tuple[str, str], Ends] | None = None) -> Check:
    """Tell whether an answer hangs on a single block.

    Parameters
    ----------
    rows : sequence of Difference
    money : mapping, optional
        As :func:`find_block_moves` takes it.

    Returns
    -------
    Check
        Its value counts the treatments.
    """
    if not any(row.leave_one_out is not None for row in rows):
        return Check(BLOCK_CHECK, None, None, ALLOWED, "There are too few blocks to leave one out.")
    moves = find_block_moves(rows, money)
    if not moves:
        return Check(BLOCK_CHECK, True, 0.0, ALLOWED, "Leaving any one block out changes no answer.")
    note = tell_moves(moves, "Leave out one part of the field ({}) and")
    return Check(BLOCK_CHECK, False, float(len({move.treatment for move in moves})), ALLOWED, note)


def check_choices(moves: Sequence[Move] | None) -> Check:
    """Tell whether an answer hangs on a choice of how the data was taken.

    Parameters
    ----------
    moves : sequence of Move or None
        Those that change an answer; none where no other choice was tried.

    Returns
    -------
    Check
        Its value counts the treatments.
    """
    if moves is None:
        return Check(CHOICE_CHECK, None, None, ALLOWED, "No other choices were tried.")
    if not moves:
        return Check(CHOICE_CHECK, True, 0.0, ALLOWED, "No other choice changes an answer.")
    note = tell_moves(moves, "{},")
    return Check(CHOICE_CHECK, False, float(len({move.treatment for move in moves})), ALLOWED, note)


def tell_moves(moves: Iterable[Move], head: str) -> str:
    """Say what would be another one, a sentence for each change.

    Parameters
    ----------
    moves : iterable of Move
    head : str
        Begins a sentence, with a place for what is done otherwise.

    Returns
    -------
    str

    Examples
    --------
    >>> tell_moves([Move("by the monitor", "new", Answers("not_settled"), Answers("higher"))], "{},")
    'By the monitor, the yield answer for new changes from “no clear difference” to “a higher yield”.'
    """
    groups: dict[tuple[str, Answers, Answers], list[str]] = {}
    for move in moves:
        groups.setdefault((move.treatment, move.before, move.after), []).append(move.under)
    said = [head.format(" or ".join(under)) + " " + _tell_change(*what) for what, under in groups.items()]
    return " ".join(one[:1].upper() + one[1:] for one in said)


def _tell_change(treatment: str, before: Answers, after: Answers) -> str:
    """Say from what to what an answer changes, and what stays."""
    yields = f"from “{YIELD_WORDS[before.yields]}” to “{YIELD_WORDS[after.yields]}”"
    if before.money is None or after.money is None:
        return f"the yield answer for {treatment} changes {yields}."
    money = f"from “{MONEY_WORDS[before.money]}” to “{MONEY_WORDS[after.money]}”"
    if before.money == after.money:
        return f"the yield answer for {treatment} changes {yields}; {STAYS[before.money]}."
    if before.yields == after.yields:
        return f"the money answer for {treatment} changes {money}; the yield answer is the same."
    return f"the yield answer for {treatment} changes {yields}, and the money answer {money}."


def find_moved(notes: str, treatments: Iterable[str]) -> tuple[list[str], bool]:
    """Tell from what :func:`tell_moves` said whose answers move.

    Parameters
    ----------
    notes : str
    treatments : iterable of str
        Those that may stand in it.

    Returns
    -------
    tuple of list of str and bool
        The treatments, and whether answers in money are all that moves.

    Examples
    --------
    >>> move = Move("by the monitor", "new", Answers("higher", "pays"), Answers("higher", "not_settled"))
    >>> find_moved(tell_moves([move], "{},"), ["old", "new"])
    (['new'], True)
    """
    moved = [name for name in treatments if f"answer for {name} changes" in notes]
    return moved, "yield answer for" not in notes and "money answer for" in notes
