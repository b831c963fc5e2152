"""Which channel of which device element is taken for which quantity; what is left open becomes a question.

Numbers, names and factors of the channels (DDI): ISO 11783-11, as in the list of the repository
Josephinum-Research/isoxml-py (data/ddi_entities.json), cross-checked with the public pages of isobus.net.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from proofstrip.read.table import ColumnMeaning
from proofstrip.read.task_log.binary import Channel
from proofstrip.read.task_log.task_data import DeviceElement, Presentation


@dataclass(frozen=True)
class Meaning:
    """A channel that a harvest record has: its quantity, and the factor to a unit that a person reads."""

    quantity: str
    name: str
    factor: float
    unit: str


WIDTH, MAX_WIDTH = 0x43, 0x46
WORK_STATE, HEADER_HEIGHT = 0x8D, 0xED
# Actual condensed work state: sections 1 to 16 to sections 241 to 256, two bits each.
CONDENSED = range(0xA1, 0xB1)
MEANINGS = {
    0x57: Meaning("mass_flow", "mass per time", 1e-6, "kg/s"),
    0x54: Meaning("wet_yield", "mass per area", 1e-2, "kg/ha"),
    0xB5: Meaning("dry_yield", "dry mass per area", 1e-2, "kg/ha"),
    0x63: Meaning("moisture", "moisture", 1e-4, "percent"),
    0x18D: Meaning("speed", "speed", 1e-3, "m/s"),
    WIDTH: Meaning("swath", "working width", 1e-3, "m"),
    MAX_WIDTH: Meaning("swath", "largest working width", 1e-3, "m"),
    WORK_STATE: Meaning("header", "work state", 1.0, ""),
    HEADER_HEIGHT: Meaning("header", "header in working height", 1.0, ""),
    **{ddi: Meaning("header", f"condensed work state {ddi - 0xA0}", 1.0, "") for ddi in CONDENSED},
}
FLOWS = (0x57, 0x54, 0xB5)
# For the header, the first of these that is logged: the work state, the sections' states, the height of the header.
HEADERS = ((WORK_STATE,), tuple(CONDENSED), (HEADER_HEIGHT,))
REFERENCE_MOISTURE = 0xB8
# What a display says that it left out at the ends of passes, and when it held its yield.
SETTINGS_LOGGED = {
    0x103: "yield lag ignore time",
    0x104: "yield lead ignore time",
    0xEF: "yield hold status",
}


@dataclass(frozen=True)
class Column:
    """A column of the records and how it is made.

    Attributes
    ----------
    name : str
    meaning : ColumnMeaning or None
        None for a channel that is shown and not recognised.
    channels : tuple of Channel
    how : str
        ``value`` of the one channel, their ``sum``, or ``on`` when a state of any of them says so.
    factor, offset : float
        Logged value plus offset, times factor.
    constant : float or None
        One value throughout.
    """

    name: str
    meaning: ColumnMeaning | None
    channels: tuple[Channel, ...]
    how: str = "value"
    factor: float = 1.0
    offset: float = 0.0
    constant: float | None = None


@dataclass
class Plan:
    """The columns of a set of logs, and what is to be said about them."""

    columns: list[Column]
    remarks: list[tuple[str, str]]


def plan_columns(channels: Sequence[Channel], elements: Mapping[str, DeviceElement]) -> Plan:
    """Choose the channels of a set of logs.

    Parameters
    ----------
    channels : sequence of Channel
        All that occur, each once.
    elements : mapping of str to DeviceElement

    Returns
    -------
    Plan
        Where several elements log one quantity and none stands for all, each is a column of its own: a question.
    """
    plan = Plan([], [])
    near = _flow_elements(channels)
    for ddi in FLOWS:
        _add(plan, _of(channels, ddi), elements, near)
    for ddi in (0x63, 0x18D):
        _add(plan, _of(channels, ddi), elements, near)
    _add_width(plan, channels, elements)
    _add_header(plan, channels, elements, near)
    taken = {channel for column in plan.columns for channel in column.channels}
    plan.columns += [_show(channel, elements) for channel in channels if channel not in taken]
    return plan


def _of(channels: Sequence[Channel], *ddis: int) -> list[Channel]:
    """List the channels of some numbers."""
    return [channel for channel in channels if channel.ddi in ddis]


def _flow_elements(channels: Sequence[Channel]) -> set[str]:
    """Name the elements that the grain is measured at."""
    for ddi in FLOWS:
        found = {channel.element for channel in _of(channels, ddi)}
        if found:
            return found
    return set()


def _add(plan: Plan, found: list[Channel], elements: Mapping[str, DeviceElement], near: set[str]) -> None:
    """Add the column of a quantity: of the one element that logs it, of the grain's own, or of the one above all."""
    for channel in _choose(plan, found, elements, near) or found:
        meaning = MEANINGS[channel.ddi]
        name = f"{channel.ddi:04X} {meaning.name}" + (f" {channel.element}" if len(found) > 1 else "")
        said = ColumnMeaning(meaning.quantity, meaning.unit)
        plan.columns.append(Column(name, said, (channel,), factor=meaning.factor))


def _choose(
    plan: Plan, found: list[Channel], elements: Mapping[str, DeviceElement], near: set[str]
) -> list[Channel] | None:
    """Choose one of several channels; none where nothing tells which."""
    if len(found) < 2:
        return found
    own = [channel for channel in found if channel.element in near]
    above = [channel for channel in found if all(_is_above(channel, other, elements) for other in found)]
    chosen = own if len(own) == 1 else above
    if len(chosen) != 1:
        return None
    _remark_choice(plan, chosen[0], found)
    return chosen


def _is_above(channel: Channel, other: Channel, elements: Mapping[str, DeviceElement]) -> bool:
    """Tell whether an element is the other or has it as a part."""
    below = elements.get(other.element)
    return channel == other or (below is not None and channel.element in below.parents)


def _remark_choice(plan: Plan, chosen: Channel, found: list[Channel]) -> None:
    """Say that one of several elements was taken."""
    others = ", ".join(channel.element for channel in found if channel != chosen)
    plan.remarks.append(
        ("element_chosen", f"{MEANINGS[chosen.ddi].name} is that of {chosen.element}, not of {others}.")
    )


def _add_width(plan: Plan, channels: Sequence[Channel], elements: Mapping[str, DeviceElement]) -> None:
    """Add the working width: logged, else a fixed value of the device; the largest width stands in last."""
    for ddi in (WIDTH, MAX_WIDTH):
        found = _of(channels, ddi)
        fixed = {name: one.properties[ddi] for name, one in elements.items() if one.properties.get(ddi, 0) > 0}
        if found:
            _add_logged_width(plan, found, elements)
        elif fixed:
            _add_fixed_width(plan, ddi, fixed, elements)
        if found or fixed:
            if ddi == MAX_WIDTH:
                plan.remarks.append(("width_largest", "no working width is logged; the largest one stands in for it."))
            return


def _add_logged_width(plan: Plan, found: list[Channel], elements: Mapping[str, DeviceElement]) -> None:
    """Add a logged width; sections side by side are summed."""
    ddi = found[0].ddi
    if _choose(Plan([], []), found, elements, set()) is None and _side_by_side([c.element for c in found], elements):
        meaning = MEANINGS[ddi]
        said = ColumnMeaning(meaning.quantity, meaning.unit)
        plan.columns.append(Column(f"{ddi:04X} {meaning.name}, summed", said, tuple(found), "sum", meaning.factor))
        plan.remarks.append(
            ("width_summed", f"the working width is the sum over {len(found)} sections that are parts of one device.")
        )
        return
    _add(plan, found, elements, set())


def _add_fixed_width(plan: Plan, ddi: int, fixed: dict[str, int], elements: Mapping[str, DeviceElement]) -> None:
    """Add a width that the device states once."""
    found = [Channel(ddi, name) for name in fixed]
    chosen = _choose(plan, found, elements, set())
    if chosen is None and _side_by_side(list(fixed), elements):
        chosen, fixed = [replace(found[0])], {found[0].element: sum(fixed.values())}
    meaning = MEANINGS[ddi]
    for channel in chosen or found:
        name = f"{meaning.name} of the device" + (f" {channel.element}" if chosen is None else "")
        width = fixed[channel.element] * meaning.factor
        plan.columns.append(Column(name, ColumnMeaning(meaning.quantity, meaning.unit), (), constant=width))
        plan.remarks.append(
            ("width_of_device", f"no width is logged; it is taken as the {width:g} m that the device states.")
        )


def _side_by_side(names: list[str], elements: Mapping[str, DeviceElement]) -> bool:
    """Tell whether elements are parts of one and the same element."""
    parents = {elements[name].parents[:1] if name in elements else () for name in names}
    return len(parents) == 1 and parents != {()}


def _add_header(plan: Plan, channels: Sequence[Channel], elements: Mapping[str, DeviceElement], near: set[str]) -> None:
    """Add the state of the header; of several elements at work, one is enough."""
    kinds = [found for ddis in HEADERS if (found := _of(channels, *ddis))]
    if not kinds:
        return
    found = kinds[0]
    chosen = (_choose(plan, found, elements, near) if found[0].ddi == WORK_STATE else None) or found
    name = f"{chosen[0].ddi:04X} {MEANINGS[chosen[0].ddi].name}"
    if len(chosen) > 1:
        name += f", any of {len(chosen)}"
        plan.remarks.append(
            ("state_of_any", f"the header counts as down where any of {len(chosen)} work states says so.")
        )
    plan.columns.append(Column(name, ColumnMeaning("header", ""), tuple(chosen), "on"))
    for other in kinds[1:]:
        plan.remarks.append(("header_chosen", f"{MEANINGS[other[0].ddi].name} is logged too and not used."))


def _show(channel: Channel, elements: Mapping[str, DeviceElement]) -> Column:
    """Show a channel that is not recognised as its device presents it; the trial file may name it."""
    element = elements.get(channel.element)
    how = Presentation() if element is None else element.channels.get(channel.ddi, Presentation())
    known = MEANINGS[channel.ddi].name if channel.ddi in MEANINGS else SETTINGS_LOGGED.get(channel.ddi, "")
    name = " ".join(f"{channel.ddi:04X} {how.name or known} {channel.element}".split())
    return Column(name + (f" ({how.unit})" if how.unit else ""), None, (channel,), factor=how.scale, offset=how.offset)


def unique_names(columns: list[Column]) -> list[Column]:
    """Make repeated names distinct."""
    seen: dict[str, int] = {}
    named = []
    for column in columns:
        seen[column.name] = seen.get(column.name, 0) + 1
        again = seen[column.name]
        named.append(column if again == 1 else replace(column, name=f"{column.name} ({again})"))
    return named
