"""Where the words of a figure stand: shared by the tests of the pictures."""

from collections.abc import Iterator

from matplotlib.axes import Axes
from matplotlib.figure import Figure, FigureBase
from matplotlib.text import Text


def drawn_texts(figure: FigureBase) -> Iterator[Text]:
    """Every text that is really drawn: tick labels only on axes that are shown, inside their limits."""
    yield from figure.texts
    yield from (text for legend in figure.legends for text in legend.get_texts())
    for axes in figure.get_axes() if isinstance(figure, Figure) else ():
        yield from (*axes.texts, axes.title, axes._left_title, axes._right_title)
        if axes.axison:
            yield from (axes.xaxis.label, axes.yaxis.label, *tick_labels(axes))
    for part in figure.subfigs:
        yield from drawn_texts(part)


def tick_labels(axes: Axes) -> Iterator[Text]:
    for axis, (low, high) in ((axes.xaxis, sorted(axes.get_xlim())), (axes.yaxis, sorted(axes.get_ylim()))):
        for tick in axis.get_major_ticks():
            if tick.label1.get_visible() and low <= tick.get_loc() <= high:
                yield tick.label1


def check_texts(figure: Figure, apart: bool) -> None:
    """No text leaves the sheet and, where asked, none lies on another."""
    figure.draw_without_rendering()
    shown = [text for text in drawn_texts(figure) if text.get_text().strip() and text.get_visible()]
    assert len(shown) > 5
    boxes = [text.get_window_extent() for text in shown]
    for text, box in zip(shown, boxes, strict=True):
        inside = box.x0 >= -1 and box.y0 >= -1 and box.x1 <= figure.bbox.width + 1 and box.y1 <= figure.bbox.height + 1
        assert inside, (text, box, figure.bbox)
    for place, (text, box) in enumerate(zip(shown, boxes, strict=True)):
        for other, second in zip(shown[place + 1 :], boxes[place + 1 :], strict=True):
            wide = min(box.x1, second.x1) - max(box.x0, second.x0)
            tall = min(box.y1, second.y1) - max(box.y0, second.y0)
            assert not apart or wide < 2 or tall < 4, (text, other)
