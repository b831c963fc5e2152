"""Combines, and single files of theirs, that measured no moisture: nothing was logged, or one value was typed in."""

from dataclasses import dataclass

import pandas as pd

from proofstrip.errors import Notice

UNSEEN = "If the treatments differed in moisture, the difference is wrong by about 1.2 % of yield a point."
LEAST_MOISTURE_SPREAD_PCT = 0.05
# A file of so much grain that reads one value was typed in although the combine measures elsewhere; judgement.
TYPED_S = 300.0


@dataclass(frozen=True)
class StandIns:
    """What can stand in, best first.

    Attributes
    ----------
    weighed : pandas.Series of float or None
        The scale tickets' moisture of each record's grain [%].
    declared_pct : float or None
        [%]
    """

    weighed: "pd.Series[float] | None"
    declared_pct: float | None


@dataclass(frozen=True)
class _Group:
    """Records that lack moisture in one way."""

    own: "pd.Series[bool]"
    who: str
    typed: bool
    by_file: bool


def find_unmeasured(points: pd.DataFrame, logged: "pd.Series[float]") -> "tuple[pd.Series[bool], pd.Series[bool]]":
    """Find the records of combines that logged no moisture or one value throughout, and those of such single files.

    Parameters
    ----------
    points : pandas.DataFrame
        machine, duration_s [s]; source_file where there are several.
    logged : pandas.Series of float
        Readings that the crop can have [%].

    Returns
    -------
    tuple of two pandas.Series of bool
        Of whole combines, and of single files of combines that measure elsewhere. There one value must last longer
        than grain is alike.
    """
    machine = points["machine"].astype(str)
    by_machine = _lacks(logged, machine)
    if "source_file" not in points or points["source_file"].nunique() < 2:
        return by_machine, pd.Series(False, index=points.index)
    file = machine + "\n" + points["source_file"].astype(str)
    lasting = points["duration_s"].where(logged.notna()).groupby(file).transform("sum")
    enough = (lasting >= TYPED_S) | ~_reads(logged, file)
    return by_machine, ~by_machine & _lacks(logged, file) & enough


def _lacks(logged: "pd.Series[float]", key: "pd.Series[str]") -> "pd.Series[bool]":
    """Tell of each record whether its group has no reading, or one value throughout."""
    own = logged.groupby(key)
    count, low, high = (own.transform(name) for name in ("count", "min", "max"))
    return (count == 0) | ((count > 1) & (high - low < LEAST_MOISTURE_SPREAD_PCT))


def _reads(logged: "pd.Series[float]", key: "pd.Series[str]") -> "pd.Series[bool]":
    """Tell of each record whether its group has a reading at all."""
    return logged.groupby(key).transform("count") > 0


def fill_unmeasured(
    logged: "pd.Series[float]",
    points: pd.DataFrame,
    lacking: "tuple[pd.Series[bool], pd.Series[bool]]",
    instead: StandIns,
) -> "tuple[pd.Series[float], list[Notice]]":
    """Take the tickets' moisture, else the declared one, for what measured none; say which.

    Parameters
    ----------
    logged : pandas.Series of float
        [%]
    points : pandas.DataFrame
        machine, source_file.
    lacking : tuple of two pandas.Series of bool
        From ``find_unmeasured``.
    instead : StandIns

    Returns
    -------
    tuple of pandas.Series of float and list of Notice
        Empty where nothing of the kind is known, so that the field's median stands in; what was typed for a whole
        combine then stays.
    """
    machine, notices, measured = points["machine"].astype(str), [], logged
    named = machine + " in " + points["source_file"].astype(str) if "source_file" in points else machine
    for by_file, lacks in zip((False, True), lacking, strict=True):
        names = named if by_file else machine
        for typed in (True, False):
            own = lacks & (_reads(measured, names) == typed)
            if own.any():
                who = "" if lacks.all() else f" of {', '.join(sorted(set(names[own])))}"
                logged, notice = _fill(logged, _Group(own, who, typed, by_file), instead)
                notices.append(notice)
    return logged, notices


def _fill(logged: "pd.Series[float]", group: _Group, instead: StandIns) -> "tuple[pd.Series[float], Notice]":
    """Fill in what was not measured in one way, and say so."""
    own, weighed, declared = group.own, instead.weighed, instead.declared_pct
    code, said = "moisture_missing", f"The log{group.who} has no moisture"
    if group.typed:
        code, value = "moisture_constant", logged[own].dropna().iloc[0]
        said = f"The log{group.who} says {value:g} % moisture throughout: typed in, not measured"
    if weighed is not None and weighed[own].notna().any():
        if declared is not None:
            weighed = weighed.fillna(declared)
        low, high = weighed[own].min(), weighed[own].max()
        spread = f"{low:.1f} to {high:.1f} %" if high > low else f"{low:.1f} %. {UNSEEN}"
        return logged.mask(own, weighed), Notice(code, f"{said}; the scale tickets' moisture stands in: {spread}")
    if declared is not None:
        said += f"; {declared:g} %, as declared, stands in for all of it. {UNSEEN}"
        return logged.mask(own, declared), Notice(code, said)
    # A combine that measures elsewhere is believed more than what was typed into one of its files.
    if group.by_file or (not group.typed and not own.all()):
        said += f"; the median of the other {'files' if group.by_file else 'combines'} stands in"
        logged = logged.mask(own)
    return logged, Notice(code, f"{said}. {UNSEEN}")
