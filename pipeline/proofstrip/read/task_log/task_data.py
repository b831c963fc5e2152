"""TASKDATA.XML: its devices with their elements, and which task and field each time log belongs to."""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from xml.etree.ElementTree import Element

from proofstrip.errors import DataError
from proofstrip.read.safe_xml import parse_xml
from proofstrip.read.task_log.places import FRAGMENT, file_called

ROOT = "ISO11783_TaskData"
# VersionMajor of ISO 11783-10: 3 is its second edition, 4 its second edition with changes.
VERSIONS = range(5)
DDI_TOTAL_MASS = 0x5A


@dataclass(frozen=True)
class Presentation:
    """How a device shows a channel: (raw + offset) x scale, in a unit, under a name."""

    name: str = ""
    offset: float = 0.0
    scale: float = 1.0
    unit: str = ""


@dataclass(frozen=True)
class DeviceElement:
    """A part of a device.

    Attributes
    ----------
    device : str
        Name of the device, with its serial number.
    parents : tuple of str
        Elements that it is part of, the nearest first.
    properties : dict of int to int
        Fixed values, by channel number (DDI).
    channels : dict of int to Presentation
        What it can log.
    """

    device: str
    parents: tuple[str, ...] = ()
    properties: dict[int, int] = field(default_factory=dict)
    channels: dict[int, Presentation] = field(default_factory=dict)


@dataclass(frozen=True)
class ListedLog:
    """A time log as the task file lists it.

    Attributes
    ----------
    task, field : str
    bytes : int or None
        How long the task file says it is.
    spans : tuple of tuple of datetime.datetime, datetime.datetime and float or None
        Stretches of work of its task: start, end and the mass harvested [kg].
    """

    task: str
    field: str
    bytes: int | None
    spans: tuple[tuple[datetime, datetime, float | None], ...] = ()


@dataclass(frozen=True)
class TaskData:
    """What a task file says.

    Attributes
    ----------
    version : str
    elements : dict of str to DeviceElement
        By their id.
    logs : dict of str to ListedLog
        By name in capitals: TLG00001.
    remarks : tuple of str
        What is odd about it.
    """

    version: str
    elements: dict[str, DeviceElement]
    logs: dict[str, ListedLog]
    remarks: tuple[str, ...] = ()


def read_task_data(path: Path) -> TaskData:
    """Read a TASKDATA.XML and the fragments it refers to.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    TaskData

    Raises
    ------
    DataError
        When it is no task file, or a fragment is missing.
    """
    root = parse_xml(path)
    if root.tag != ROOT:
        raise DataError(f"{path.name}: the XML starts with {root.tag[:60]!r}, not {ROOT!r}; it is no task file.")
    parts = [*root, *(part for fragment in root.iter("XFR") for part in _read_fragment(path, fragment))]
    major = root.get("VersionMajor", "")
    remarks = []
    if not major.isdigit() or int(major) not in VERSIONS:
        remarks.append(f"its version is {major[:20]!r}; known are {VERSIONS.start} to {VERSIONS.stop - 1}; read as 4")
    elements: dict[str, DeviceElement] = {}
    for device in (part for part in parts if part.tag == "DVC"):
        elements |= _read_device(device)
    fields = {part.get("A", ""): part.get("C", "") for part in parts if part.tag == "PFD"}
    logs: dict[str, ListedLog] = {}
    for task in (part for part in parts if part.tag == "TSK"):
        logs |= _read_task(task, fields)
    return TaskData(f"{major}.{root.get('VersionMinor', '?')}", elements, logs, tuple(remarks))


def read_ddi(text: str | None) -> int | None:
    """Read a channel number, written in hexadecimal; none when it is not."""
    try:
        return int(text or "", 16)
    except ValueError:
        return None


def to_int(text: str | None) -> int | None:
    """Read a whole number; none when it is not one."""
    try:
        return int(text or "")
    except ValueError:
        return None


def _read_fragment(path: Path, fragment: Element) -> list[Element]:
    """Read a file that the task file refers to, from its own folder only."""
    name = fragment.get("A", "")
    if FRAGMENT.fullmatch(name) is None:
        raise DataError(
            f"{path.name}: it refers to a file {name[:60]!r}; such names are three letters and five digits, and no "
            "other file is opened."
        )
    found = file_called(path.parent, f"{name}.xml")
    if found is None:
        raise DataError(f"{path.name}: it refers to {name}.XML, which is not in its folder; copy the whole folder.")
    return list(parse_xml(found))


def _read_device(device: Element) -> dict[str, DeviceElement]:
    """Read a device's elements, their fixed values and what they can log."""
    label = " ".join(" ".join(device.get(key, "") for key in ("B", "E")).split()) or device.get("A", "device")
    shown = {part.get("A"): part for part in device if part.tag == "DVP"}
    by_object = {part.get("A"): part for part in device if part.tag in ("DPD", "DPT")}
    parts = [part for part in device if part.tag == "DET"]
    by_number = {part.get("B"): part for part in parts}
    elements = {}
    for part in parts:
        properties, channels = {}, {}
        for reference in part.iter("DOR"):
            described = by_object.get(reference.get("A"))
            ddi = None if described is None else read_ddi(described.get("B"))
            if described is None or ddi is None:
                continue
            value = to_int(described.get("C"))
            if described.tag == "DPD":
                channels[ddi] = _read_presentation(described, shown)
            elif value is not None:
                properties[ddi] = value
        elements[part.get("A", "")] = DeviceElement(label, _find_parents(part, by_number), properties, channels)
    return elements


def _read_presentation(described: Element, shown: dict[str | None, Element]) -> Presentation:
    """Read name, offset, scale and unit of a channel."""
    name, how = described.get("E", ""), shown.get(described.get("F"))
    if how is None:
        return Presentation(name)
    try:
        return Presentation(name, float(how.get("B", "0")), float(how.get("C", "1")), how.get("E", "").strip())
    except ValueError:
        return Presentation(name)


def _find_parents(part: Element, by_number: dict[str | None, Element]) -> tuple[str, ...]:
    """Follow an element upwards; a ring ends where it closes."""
    parents: list[str] = []
    above = by_number.get(part.get("F"))
    while above is not None and above is not part and above.get("A", "") not in parents:
        parents.append(above.get("A", ""))
        above = by_number.get(above.get("F"))
    return tuple(parents)


def _read_task(task: Element, fields: dict[str, str]) -> dict[str, ListedLog]:
    """Read the logs of a task."""
    spans = tuple(span for time in task.findall("TIM") if (span := _read_span(time)) is not None)
    name, place = task.get("B", ""), fields.get(task.get("E", ""), "")
    return {
        log.get("A", "").upper(): ListedLog(name, place, to_int(log.get("B")), spans) for log in task.findall("TLG")
    }


def _read_span(time: Element) -> tuple[datetime, datetime, float | None] | None:
    """Read a stretch of work with a start and an end; clocks of task files are local, so zones are left out."""
    try:
        start, end = (datetime.fromisoformat(time.get(key, "")).replace(tzinfo=None) for key in ("A", "B"))
    except ValueError:
        return None
    masses = [to_int(value.get("B")) for value in time.findall("DLV") if read_ddi(value.get("A")) == DDI_TOTAL_MASS]
    known = [mass for mass in masses if mass is not None]
    return start, end, float(sum(known)) if known else None
