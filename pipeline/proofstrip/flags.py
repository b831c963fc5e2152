"""Every fault a record can carry: one bit each, a phrase for people, and whether it excludes the record.

A bit number is permanent: archived files are read by it. New flags go at the end.
"""

from dataclasses import dataclass
from enum import IntFlag

import numpy as np
import pandas as pd


class Flag(IntFlag):
    """One bit per fault."""

    MISSING = 1 << 0
    DUPLICATE = 1 << 1
    POSITION_JUMP = 1 << 2
    POSITION_FROZEN = 1 << 3
    OFF_PASS = 1 << 4
    HEADER_UP = 1 << 5
    TURN = 1 << 6
    SHORT_PASS = 1 << 7
    ENTRY_RAMP = 1 << 8
    EXIT_RAMP = 1 << 9
    SPEED_RANGE = 1 << 10
    SPEED_CHANGE = 1 << 11
    NARROW_CUT = 1 << 12
    RECUT = 1 << 13
    MOISTURE_RANGE = 1 << 14
    FLOW_RANGE = 1 << 15
    STUCK_SENSOR = 1 << 16
    SPIKE = 1 << 17
    OUTSIDE_STRIP = 1 << 18
    STRIP_END = 1 << 19
    STRADDLE = 1 << 20
    EXCLUDED_BY_HAND = 1 << 21


@dataclass(frozen=True)
class FlagMeaning:
    """What a flag says to a person, what it does to the record, and which stage of a run sets it."""

    flag: Flag
    phrase: str
    excludes: bool
    stage: str = "clean"

    @property
    def name(self) -> str:
        """Name in files, in lower case."""
        return str(self.flag.name).lower()


FLAGS: tuple[FlagMeaning, ...] = (
    FlagMeaning(Flag.MISSING, "a value needed for yield is missing", True),
    FlagMeaning(Flag.DUPLICATE, "the same moment of the same machine was already read", True),
    FlagMeaning(Flag.POSITION_JUMP, "the position jumped where the machine could not have", True),
    FlagMeaning(Flag.POSITION_FROZEN, "the position stood still while the machine moved", True),
    FlagMeaning(Flag.OFF_PASS, "the position lies beside its own pass", True),
    FlagMeaning(Flag.HEADER_UP, "the header was up when this ground was passed", True),
    FlagMeaning(Flag.TURN, "the combine was turning", True),
    FlagMeaning(Flag.SHORT_PASS, "the pass is too short to fill the machine", True),
    FlagMeaning(Flag.ENTRY_RAMP, "the machine was still filling after it entered the crop", True),
    FlagMeaning(Flag.EXIT_RAMP, "the machine was emptying at the end of the pass", True),
    FlagMeaning(Flag.SPEED_RANGE, "much slower or faster than the rest of its pass", False),
    FlagMeaning(Flag.SPEED_CHANGE, "speed changed sharply", False),
    FlagMeaning(Flag.NARROW_CUT, "part of the header ran over ground already cut", False),
    FlagMeaning(Flag.RECUT, "nearly all of the ground was already cut", True),
    FlagMeaning(
        Flag.MOISTURE_RANGE, "moisture outside what the crop can have; the pass's median stands in", False, "moisture"
    ),
    FlagMeaning(Flag.FLOW_RANGE, "a flow that no crop can give", True),
    FlagMeaning(Flag.STUCK_SENSOR, "the flow sensor repeated one value", True),
    FlagMeaning(Flag.SPIKE, "a jump in flow for a moment, far outside its own pass", True),
    FlagMeaning(Flag.OUTSIDE_STRIP, "not in any strip of the trial map", True, "assign"),
    FlagMeaning(Flag.STRIP_END, "outside the stretch that all strips of the block share", True, "strips"),
    FlagMeaning(Flag.STRADDLE, "the cut covers two treatments", True, "assign"),
    FlagMeaning(Flag.EXCLUDED_BY_HAND, "excluded by hand, with a reason on file", True, "exclude"),
)

EXCLUDING: Flag = Flag(sum(meaning.flag for meaning in FLAGS if meaning.excludes))


def add_flag(flags: pd.Series, mask: pd.Series, flag: Flag) -> pd.Series:
    """Set one bit where ``mask`` is true.

    Parameters
    ----------
    flags : pandas.Series of int32
        Bits so far.
    mask : pandas.Series of bool
        True = fault, on the same index.
    flag : Flag
        The bit.

    Returns
    -------
    pandas.Series of int32

    Examples
    --------
    >>> add_flag(pd.Series([0, 1]), pd.Series([True, False]), Flag.SPIKE).tolist()
    [131072, 1]
    """
    return (flags | np.where(mask, int(flag), 0)).astype("int32")


def has_flag(flags: pd.Series, flag: Flag) -> pd.Series:
    """Tell which records carry any bit of ``flag``.

    Parameters
    ----------
    flags : pandas.Series of int
    flag : Flag
        One bit or several.

    Returns
    -------
    pandas.Series of bool

    Examples
    --------
    >>> has_flag(pd.Series([0, 3]), Flag.DUPLICATE).tolist()
    [False, True]
    """
    return (flags & int(flag)) != 0


def count_flags(flags: pd.Series) -> dict[str, int]:
    """Count the records that carry each flag, in the order of the table.

    Parameters
    ----------
    flags : pandas.Series of int

    Returns
    -------
    dict of str to int

    Examples
    --------
    >>> count_flags(pd.Series([0, 3]))["duplicate"]
    1
    """
    return {meaning.name: int(has_flag(flags, meaning.flag).sum()) for meaning in FLAGS}


def name_flags(bits: int) -> list[str]:
    """Spell out the bits of one record.

    Parameters
    ----------
    bits : int

    Returns
    -------
    list of str

    Examples
    --------
    >>> name_flags(3)
    ['missing', 'duplicate']
    """
    return [meaning.name for meaning in FLAGS if bits & meaning.flag]
