"""Which of several device elements stands for a quantity."""

from proofstrip.read.task_log.binary import Channel
from proofstrip.read.task_log.channels import Plan, plan_columns
from proofstrip.read.task_log.task_data import DeviceElement

# A machine with a header of two sections, and a trailer.
ELEMENTS = {
    "machine": DeviceElement("Combine"),
    "header": DeviceElement("Combine", ("machine",)),
    "left": DeviceElement("Combine", ("header", "machine")),
    "right": DeviceElement("Combine", ("header", "machine")),
    "trailer": DeviceElement("Trailer"),
}
FLOW = Channel(0x57, "machine")


def plan(*channels: Channel, elements: dict[str, DeviceElement] = ELEMENTS) -> Plan:
    return plan_columns([FLOW, *channels], elements)


def columns(found: Plan, quantity: str) -> list[tuple[str, str, tuple[str, ...]]]:
    return [
        (column.name, column.how, tuple(channel.element for channel in column.channels))
        for column in found.columns
        if column.meaning is not None and column.meaning.quantity == quantity
    ]


def test_sections_side_by_side_are_summed_and_that_is_said() -> None:
    found = plan(Channel(0x43, "left"), Channel(0x43, "right"))
    assert columns(found, "swath") == [("0043 working width, summed", "sum", ("left", "right"))]
    assert found.remarks == [
        ("width_summed", "the working width is the sum over 2 sections that are parts of one device.")
    ]


def test_the_element_that_has_the_others_as_parts_stands_for_them() -> None:
    found = plan(Channel(0x43, "left"), Channel(0x43, "right"), Channel(0x43, "header"))
    assert columns(found, "swath") == [("0043 working width header", "value", ("header",))]
    assert found.remarks[0][0] == "element_chosen"


def test_widths_of_two_devices_are_left_open() -> None:
    found = plan(Channel(0x43, "header"), Channel(0x43, "trailer"))
    assert [name for name, _, _ in columns(found, "swath")] == [
        "0043 working width header",
        "0043 working width trailer",
    ]


def test_the_work_state_of_the_grain_s_own_element_goes_first() -> None:
    found = plan(Channel(0x8D, "trailer"), Channel(0x8D, "machine"))
    assert columns(found, "header") == [("008D work state", "on", ("machine",))]


def test_any_section_at_work_is_work() -> None:
    found = plan(Channel(0xA1, "header"))
    assert columns(found, "header") == [("00A1 condensed work state 1", "on", ("header",))]
    found = plan(Channel(0x8D, "left"), Channel(0x8D, "right"))
    assert columns(found, "header") == [("008D work state, any of 2", "on", ("left", "right"))]


def test_the_height_of_the_header_counts_where_no_work_state_is_logged() -> None:
    assert columns(plan(Channel(0xED, "header")), "header")[0][0] == "00ED header in working height"
    found = plan(Channel(0xED, "header"), Channel(0x8D, "machine"))
    assert columns(found, "header")[0][0] == "008D work state"
    assert ("header_chosen", "header in working height is logged too and not used.") in found.remarks


def test_a_fixed_width_of_the_device_stands_in() -> None:
    elements = ELEMENTS | {"header": DeviceElement("Combine", ("machine",), {0x43: 9144})}
    found = plan(elements=elements)
    (column,) = [one for one in found.columns if one.meaning and one.meaning.quantity == "swath"]
    assert column.constant == 9.144
    halves = {side: DeviceElement("Combine", ("header", "machine"), {0x46: 4500}) for side in ("left", "right")}
    found = plan(elements=ELEMENTS | halves)
    (column,) = [one for one in found.columns if one.meaning and one.meaning.quantity == "swath"]
    assert column.constant == 9.0
    assert found.remarks[-1][0] == "width_largest"


def test_two_flows_without_one_above_the_other_are_left_open() -> None:
    found = plan_columns([Channel(0x57, "left"), Channel(0x57, "right")], ELEMENTS)
    assert len(columns(found, "mass_flow")) == 2
