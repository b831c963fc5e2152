"""Delimited text: the head is looked at, the rows are read by pyarrow with everything said explicitly."""

import csv
import io
import itertools
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pyarrow as pa
import pyarrow.csv

from proofstrip.errors import DataError, Notice
from proofstrip.read.files import HEAD_BYTES
from proofstrip.read.table import Head, Loaded

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
EMPTY = ["", "NA", "N/A", "n/a", "#N/A", "NaN", "nan", "NULL", "null", "None", "-"]
SAMPLE_LINES = 50
# Some spreadsheets write their delimiter into a first line of its own.
SPREADSHEET_LINE = re.compile("sep=.", re.IGNORECASE)
NUMBER = re.compile(r"\s*[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?\s*")
COMMA_NUMBER = re.compile(r"\s*[+-]?\d+,\d+\s*")


def look_at_delimited(path: Path) -> Head:
    """Find encoding, delimiter, decimal mark and headers from the first lines.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    Head

    Raises
    ------
    DataError
        When there is no header row, no delimiter or no row below the header.
    """
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    encoding = tell_encoding(head)
    lines = re.split(r"\r\n|\r|\n", head.decode(encoding, errors="ignore"))
    if len(head) == HEAD_BYTES:
        lines = lines[:-1]  # cut in its middle
    skip = next((number for number, line in enumerate(lines) if line.strip()), None)
    if skip is not None and SPREADSHEET_LINE.fullmatch(lines[skip].strip()):
        skip += 1
    if skip is None:
        raise DataError(f"{path.name}: the file holds only empty lines; export it again.")
    sample = [line for line in lines[skip : skip + SAMPLE_LINES] if line.strip()]
    delimiter = _tell_delimiter(path, sample)
    rows = list(csv.reader(sample, delimiter=delimiter))
    names = _unique([name.strip() for name in rows[0]])
    _check_headers(path, names, rows)
    decimal = _tell_decimal(rows[1:], delimiter)
    filled = {name: [row[i] for row in rows[1:] if i < len(row) and row[i].strip()] for i, name in enumerate(names)}
    numeric = frozenset(
        name for name, values in filled.items() if values and all(NUMBER.fullmatch(value) for value in values)
    )
    layout = {"encoding": encoding, "delimiter": delimiter, "decimal": decimal}
    return Head(path, "delimited text", tuple(names), layout, numeric, skip_lines=skip + 1)


def load_delimited(head: Head, types: dict[str, pa.DataType]) -> Loaded:
    """Read the rows of a delimited file.

    Parameters
    ----------
    head : Head
    types : dict of str to pyarrow.DataType
        Headers of the columns wanted, and what each should hold.

    Returns
    -------
    Loaded
        When a number column holds text, every column comes as text: the caller sorts it out.

    Raises
    ------
    DataError
        When a row has too many fields, or the text is no table.
    """
    as_text = {name: pa.string() for name in types}
    heads = [head]
    if head.layout["encoding"] == "utf-8":
        # A byte that is not UTF-8 may stand far below the head.
        heads.append(replace(head, layout={**head.layout, "encoding": "cp1252"}))
    # The plain way first; slower ways only for what is wrong: text among numbers, rows of uneven length, the encoding.
    for attempt, mend, kinds in itertools.product(heads, (False, True), (types, as_text)):
        try:
            return _load(attempt, kinds, mend)
        except (pa.ArrowInvalid, UnicodeDecodeError, csv.Error) as fault:
            last: Exception = fault
    said = str(last).splitlines()[0].rstrip(".")
    if "field limit" in said:
        said = "a quotation mark opens a field that nothing closes; take it out"
    raise DataError(f"{head.path.name}: cannot be read as a table: {said}.") from last


def _load(head: Head, types: dict[str, pa.DataType], mend: bool) -> Loaded:
    """Read the file as it stands, or its rows made even."""
    if not mend:
        return Loaded(_read_arrow(head.path, head, types), None)
    text, notices = _even_rows(head)
    evened = replace(head, layout={**head.layout, "encoding": "utf-8"}, skip_lines=0)
    return Loaded(_read_arrow(io.BytesIO(text.encode()), evened, types), None, notices)


def _read_arrow(source: Path | io.BytesIO, head: Head, types: dict[str, pa.DataType]) -> pa.Table:
    """Read with every option said: nothing is inferred that the head did not show."""
    encoding = head.layout["encoding"].replace("utf-8-sig", "utf-8")
    return pa.csv.read_csv(
        source,
        read_options=pa.csv.ReadOptions(column_names=list(head.names), skip_rows=head.skip_lines, encoding=encoding),
        # Line breaks within quotes make rows look uneven at first, so only mended rows can have them.
        parse_options=pa.csv.ParseOptions(
            delimiter=head.layout["delimiter"], newlines_in_values=isinstance(source, io.BytesIO)
        ),
        convert_options=pa.csv.ConvertOptions(
            column_types=types,
            include_columns=list(types),
            null_values=EMPTY,
            strings_can_be_null=False,
            decimal_point=head.layout["decimal"],
        ),
    )


def _even_rows(head: Head) -> tuple[str, tuple[Notice, ...]]:
    """Fill short rows with empty fields; refuse rows with more values than there are headers."""
    width, short, long, out = len(head.names), [], [], io.StringIO()
    writer = csv.writer(out, delimiter=head.layout["delimiter"])
    with head.path.open(encoding=head.layout["encoding"], newline="") as stream:
        lines = itertools.islice(stream, head.skip_lines, None)
        rows = [row for row in csv.reader(lines, delimiter=head.layout["delimiter"]) if row[1:] or "".join(row).strip()]
    for number, row in enumerate(rows, start=1):
        if len(row) < width:
            short.append(number)
        elif any(field.strip() for field in row[width:]):
            raise DataError(
                f"{head.path.name}, row {number}: {len(row)} fields, but the header names {width}; the first field too "
                f"many holds {row[width]!r}. Mend this row: its values cannot be told apart."
            )
        elif len(row) > width:
            long.append(number)
        writer.writerow((row + [""] * width)[:width])
    notices = []
    if short:
        notices.append(
            Notice(
                "short_rows",
                f"{head.path.name}: {len(short)} rows have fewer fields than the header (first: row {short[0]}); "
                "what they lack is taken as empty.",
            )
        )
    if long:
        notices.append(
            Notice(
                "trailing_delimiters",
                f"{head.path.name}: {len(long)} rows end in empty fields beyond the header (first: row {long[0]}); "
                "these are left out.",
            )
        )
    return out.getvalue(), tuple(notices)


def tell_encoding(head: bytes) -> str:
    """Tell the encoding of the first bytes of a text: by its mark, else UTF-8 where it fits, else cp1252."""
    if head.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    try:
        head.decode("utf-8")
    except UnicodeDecodeError as fault:
        # The last character may be cut in two by the size of the head.
        return "cp1252" if fault.start < len(head) - 4 else "utf-8"
    return "utf-8"


def _tell_delimiter(path: Path, sample: list[str]) -> str:
    """Choose the delimiter that splits the header into most fields and the rows below alike."""
    widths = {mark: [len(row) for row in csv.reader(sample, delimiter=mark)] for mark in DELIMITERS}

    def fit(mark: str) -> tuple[float, int]:
        usual, _ = Counter(widths[mark][1:] or widths[mark]).most_common(1)[0]
        return (widths[mark][0] == usual) * (usual > 1), widths[mark][0]

    best = max(DELIMITERS, key=fit)
    if widths[best][0] < 2:
        raise DataError(
            f"{path.name}: no comma, semicolon, tab or bar splits the first line {sample[0][:60]!r} into columns; "
            "is this a table, and does the header row stand first? Take out what stands above it, or export it as CSV."
        )
    return best


def _tell_decimal(rows: list[list[str]], delimiter: str) -> str:
    """Tell a decimal comma: only where the comma does not separate fields and no value has a point."""
    if delimiter == ",":
        return "."
    values = [value for row in rows for value in row]
    commas = sum(bool(COMMA_NUMBER.fullmatch(value)) for value in values)
    points = sum("." in value and bool(NUMBER.fullmatch(value)) for value in values)
    return "," if commas > points else "."


def _check_headers(path: Path, names: list[str], rows: list[list[str]]) -> None:
    """Refuse a table without names or without rows."""
    if all(NUMBER.fullmatch(name) for name in names):
        raise DataError(
            f"{path.name}: the first line holds numbers ({', '.join(names[:3])}), not names of columns; "
            "add a header row."
        )
    if len(rows) < 2:
        raise DataError(f"{path.name}: there is a header row and no row below it; export the file again.")


def _unique(names: list[str]) -> list[str]:
    """Make repeated and empty headers distinct, as they are called in messages."""
    seen: Counter[str] = Counter()
    unique = []
    for number, name in enumerate(names, start=1):
        name = name or f"column {number}"
        seen[name] += 1
        unique.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return unique
