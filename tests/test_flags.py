"""Flags: one permanent bit per fault, set, asked, counted and named."""

import pandas as pd
import pytest

from proofstrip.flags import EXCLUDING, FLAGS, Flag, add_flag, count_flags, has_flag, name_flags

# Archived files are read by these numbers: a change here breaks them.
BITS = {
    "missing": 0,
    "duplicate": 1,
    "position_jump": 2,
    "position_frozen": 3,
    "off_pass": 4,
    "header_up": 5,
    "turn": 6,
    "short_pass": 7,
    "entry_ramp": 8,
    "exit_ramp": 9,
    "speed_range": 10,
    "speed_change": 11,
    "narrow_cut": 12,
    "recut": 13,
    "moisture_range": 14,
    "flow_range": 15,
    "stuck_sensor": 16,
    "spike": 17,
    "outside_strip": 18,
    "strip_end": 19,
    "straddle": 20,
    "excluded_by_hand": 21,
}
# Records with these count: their grain and their ground are both known.
INFORM = {"speed_range", "speed_change", "narrow_cut", "moisture_range"}


@pytest.mark.parametrize(("name", "bit"), BITS.items())
def test_bits_are_permanent(name: str, bit: int) -> None:
    assert Flag[name.upper()] == 1 << bit


def test_every_flag_has_its_phrase_and_no_phrase_stands_twice() -> None:
    assert [meaning.flag for meaning in FLAGS] == list(Flag)
    assert len({meaning.phrase for meaning in FLAGS}) == len(FLAGS)
    assert [meaning.name for meaning in FLAGS] == list(BITS)


def test_what_informs_does_not_exclude() -> None:
    assert {meaning.name for meaning in FLAGS if not meaning.excludes} == INFORM
    assert {meaning.name for meaning in FLAGS if meaning.flag & EXCLUDING} == set(BITS) - INFORM


def test_add_flag_keeps_the_bits_that_were_there() -> None:
    flags = pd.Series([0, 1, 2, 3], index=[7, 5, 3, 1], dtype="int32")
    mask = pd.Series([True, True, False, False], index=flags.index)
    added = add_flag(flags, mask, Flag.DUPLICATE)
    assert added.tolist() == [2, 3, 2, 3]
    assert added.index.tolist() == [7, 5, 3, 1]
    assert added.dtype == "int32"
    assert flags.tolist() == [0, 1, 2, 3]


def test_add_flag_twice_is_once() -> None:
    flags, mask = pd.Series([4], dtype="int32"), pd.Series([True])
    once = add_flag(flags, mask, Flag.SPIKE)
    assert add_flag(once, mask, Flag.SPIKE).tolist() == once.tolist() == [4 + 2**17]


def test_has_flag_takes_any_of_several() -> None:
    flags = pd.Series([0, 1, 2, 4])
    assert has_flag(flags, Flag.MISSING | Flag.POSITION_JUMP).tolist() == [False, True, False, True]


def test_count_flags_counts_a_record_for_each_of_its_bits() -> None:
    counts = count_flags(pd.Series([0, 1, 3, 2]))
    assert counts["missing"] == 2
    assert counts["duplicate"] == 2
    assert sum(counts.values()) == 4
    assert list(counts) == list(BITS)


def test_nothing_to_count() -> None:
    assert set(count_flags(pd.Series([], dtype="int32")).values()) == {0}


def test_name_flags() -> None:
    assert name_flags(0) == []
    assert name_flags(int(Flag.SPIKE | Flag.TURN)) == ["turn", "spike"]
    assert name_flags((1 << len(BITS)) - 1) == list(BITS)
