"""From the texts and numbers of a raw column to floats; what was lost on the way is counted."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from proofstrip.cells import CONTROLS
from proofstrip.errors import Notice
from proofstrip.read.delimited import EMPTY
from proofstrip.read.table import Floats

# What a header column may hold, lower-case.
HEADER_WORDS = {
    "1": True,
    "down": True,
    "on": True,
    "true": True,
    "lowered": True,
    "working": True,
    "yes": True,
    "0": False,
    "up": False,
    "off": False,
    "false": False,
    "raised": False,
    "not": False,
    "not working": False,
    "no": False,
}


# Letters of a text that a message quotes.
SHOWN = 40


@dataclass(frozen=True)
class Numbers:
    """A column as numbers.

    Attributes
    ----------
    values : numpy.ndarray of float64
        NaN for what is no finite number.
    empty, infinite : int
    texts : int
        Fields that hold text.
    first_text : tuple of int and str
        Row, from 1, and text of the first of them.
    """

    values: Floats
    empty: int
    infinite: int
    texts: int = 0
    first_text: tuple[int, str] = (0, "")


def to_numbers(column: pa.ChunkedArray, decimal: str = ".") -> Numbers:
    """Turn a column into floats; texts, empty fields and infinite values become NaN and are counted.

    Parameters
    ----------
    column : pyarrow.ChunkedArray
        Of numbers or of texts.
    decimal : str
        Decimal mark of the texts.

    Returns
    -------
    Numbers

    Examples
    --------
    >>> to_numbers(pa.chunked_array([["1,5", "wet", ""]]), decimal=",").values.tolist()
    [1.5, nan, nan]
    """
    if pa.types.is_dictionary(column.type):
        column = column.cast(pa.string())
    if not is_text(column.type):
        values = column.cast(pa.float64(), safe=False).to_numpy().astype("float64")
        infinite = int(np.isinf(values).sum())
        return Numbers(np.where(np.isinf(values), np.nan, values), int(np.isnan(values).sum()), infinite)
    text = pc.utf8_trim_whitespace(column.cast(pa.string()))
    text = pc.if_else(pc.is_in(text, value_set=pa.array(EMPTY)), None, text)
    plain = text if decimal == "." else pc.replace_substring(text, decimal, ".")
    try:
        return to_numbers(plain.cast(pa.float64()))
    except pa.ArrowInvalid:
        pass
    # Only a column that holds a text that is no number comes here: value by value.
    objects = pd.Series(plain.to_pandas(), dtype="object")
    values = pd.to_numeric(objects, errors="coerce").to_numpy(dtype="float64", na_value=np.nan)
    given = text.is_valid().to_numpy()
    bad = given & np.isnan(values)
    first = int(np.flatnonzero(bad)[0])
    infinite = int(np.isinf(values).sum())
    return Numbers(
        np.where(np.isinf(values), np.nan, values),
        int((~given).sum()),
        infinite,
        int(bad.sum()),
        (first + 1, str(text[first].as_py())),
    )


def say_no_number(numbers: Numbers, column: str) -> str:
    """Say what a column holds in which there is no number.

    Parameters
    ----------
    numbers : Numbers
    column : str

    Returns
    -------
    str

    Examples
    --------
    >>> say_no_number(to_numbers(pa.chunked_array([["wet", "dry"]])), "Flow")
    "column 'Flow' holds no number (text in 2 of 2 rows, first: 'wet' in row 1)"
    """
    rows = len(numbers.values)
    row, text = numbers.first_text
    found = [f"text in {numbers.texts} of {rows} rows, first: {text[:SHOWN]!r} in row {row}"] if numbers.texts else []
    found += [f"infinite in {numbers.infinite} of {rows} rows"] if numbers.infinite else []
    found += [f"empty in {numbers.empty} of {rows} rows"] if numbers.empty else []
    return f"column {column!r} holds no number ({'; '.join(found)})"


def report_numbers(numbers: Numbers, column: str, file: str) -> list[Notice]:
    """Say what of a column became NaN.

    Parameters
    ----------
    numbers : Numbers
    column, file : str
        For the sentence.

    Returns
    -------
    list of Notice
    """
    rows, notices = len(numbers.values), []
    if numbers.texts:
        row, text = numbers.first_text
        notices.append(
            Notice(
                "text_in_numbers",
                f"{file}: column {column!r} holds text in {numbers.texts} of {rows} rows "
                f"(first: {text[:SHOWN]!r} in row {row}); taken as missing.",
            )
        )
    if numbers.infinite:
        notices.append(
            Notice(
                "infinite_values",
                f"{file}: column {column!r} is infinite in {numbers.infinite} of {rows} rows; taken as missing.",
            )
        )
    if numbers.empty:
        notices.append(Notice("empty_values", f"{file}: column {column!r} is empty in {numbers.empty} of {rows} rows."))
    return notices


def to_labels(column: pa.ChunkedArray) -> pd.Series:
    """Turn a column into names: ``1``, ``1.0`` and ``"1"`` are the same name; empty stays empty.

    Parameters
    ----------
    column : pyarrow.ChunkedArray

    Returns
    -------
    pandas.Series of category

    Examples
    --------
    >>> to_labels(pa.chunked_array([[1.0, 2.0]])).tolist()
    ['1', '2']
    """
    codes = column.combine_chunks()
    if not pa.types.is_dictionary(codes.type):
        codes = codes.dictionary_encode()
    names = [label_text(value) for value in codes.dictionary.to_pylist()]
    each = pd.Series(names, dtype="object").reindex(codes.indices.fill_null(-1).to_numpy()).reset_index(drop=True)
    return each.astype("category")


def label_text(value: object) -> str | None:
    """Give a label as text; whole numbers lose their decimals, runs of spaces become one, control characters ``?``.

    Parameters
    ----------
    value : object

    Returns
    -------
    str or None
        None for an empty value.

    Examples
    --------
    >>> label_text(1.0), label_text("1.0"), label_text(" None "), label_text("")
    ('1', '1', 'None', None)
    """
    if value is None or (isinstance(value, float) and np.isnan(value)) or value is pd.NA:
        return None
    if isinstance(value, (bool, np.bool_)):
        return str(value)
    text = CONTROLS.sub("?", " ".join(str(value).split()))
    whole, point, decimals = text.partition(".")
    if point and whole.lstrip("-").isdigit() and decimals.strip("0") == "":
        text = whole
    return text or None


def read_header_states(column: pa.ChunkedArray, name: str = "") -> tuple[pd.Series | None, list[str]]:
    """Turn a header column into True (down), False (up) and missing.

    Parameters
    ----------
    column : pyarrow.ChunkedArray
    name : str
        Of the column.

    Returns
    -------
    tuple of pandas.Series of boolean or None, and list of str
        None when there are values that are not understood; the values found.
    """
    labels = to_labels(column)
    found = [str(label) for label in labels.cat.categories]
    states = {label: HEADER_WORDS.get(label.lower()) for label in found}
    # A header row that stands again among the records says nothing of the header.
    missing = {label for label in found if label in EMPTY or label == name}
    if any(state is None for label, state in states.items() if label not in missing):
        return None, found
    down = [states.get(label) for label in labels.cat.categories] + [None]
    return pd.Series(pd.array(down, dtype="boolean").take(labels.cat.codes.to_numpy())), found


def is_text(kind: pa.DataType) -> bool:
    """Tell whether an arrow type is text.

    Parameters
    ----------
    kind : pyarrow.DataType

    Returns
    -------
    bool
    """
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))
