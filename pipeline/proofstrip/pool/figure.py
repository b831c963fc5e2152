"""The forest plot: a row a trial, the pooled effect, and where another field is expected."""

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from proofstrip.pool.answer import PooledAnswer, site_interval
from proofstrip.pool.sites import Site
from proofstrip.report.figures import MAX_HEIGHT_IN
from proofstrip.report.sheet import ACCENT, FAINT, INK, SOFT, TINT, Sheet, drawing, new_figure, number_axis
from proofstrip.report.words import number
from proofstrip.units import log_ratio_pct


def site_ends(site: Site, confidence: float) -> tuple[float, float, float]:
    """Give a site's difference and its own interval in per cent.

    Parameters
    ----------
    site : Site
    confidence : float

    Returns
    -------
    tuple of float
        Difference, low, high [%].
    """
    low, high = site_interval(site, confidence)
    return log_ratio_pct(site.log_ratio), log_ratio_pct(low), log_ratio_pct(high)


def draw_forest(answer: PooledAnswer, confidence: float, sheet: Sheet) -> Figure:
    """Draw the sites and the pooled answer.

    Parameters
    ----------
    answer : PooledAnswer
    confidence : float
    sheet : Sheet

    Returns
    -------
    matplotlib.figure.Figure
    """
    rows = [site_ends(site, confidence) for site in answer.sites]
    extra = 0 if answer.effect is None else 2
    count = len(rows) + extra
    pitch = min(0.3 if sheet.is_wide else 0.34, (MAX_HEIGHT_IN - 1.0) / count)
    with drawing():
        figure, body = new_figure(sheet, max(1.6, 0.75 + pitch * count))
        axes = body.add_subplot()
        axes.axvline(0, color=SOFT, linewidth=0.9)
        weights = answer.effect.weights if answer.effect else [1 / len(rows)] * len(rows)
        for place, ((middle, low, high), weight) in enumerate(zip(rows, weights, strict=True)):
            axes.hlines(place, low, high, color=SOFT, linewidth=1.4)
            axes.scatter(middle, place, s=16 + 220 * weight, marker="s", color=SOFT, zorder=3)
            _write(axes, place, (middle, low, high), sheet)
        labels = [_label(site, sheet) for site in answer.sites]
        if answer.effect is not None:
            labels += _draw_pooled(axes, answer, sheet)
        _set_axes(axes, labels, sheet)
        ends = [end for row in rows for end in row] + [0.0]
        if answer.effect is not None:
            ends += [log_ratio_pct(answer.effect.prediction_low), log_ratio_pct(answer.effect.prediction_high)]
        pad = 0.05 * (max(ends) - min(ends))
        axes.set_xlim(min(ends) - pad, max(ends) + pad)
    return figure


def _label(site: Site, sheet: Sheet) -> str:
    """Name a row; a long name keeps its end, which tells trials of one name apart."""
    name = " ".join(site.trial.split())
    start, end = (20, 11) if sheet.is_wide else (5, 8)
    if len(name) > start + end + 1:
        name = f"{name[:start].rstrip()}…{name[-end:].lstrip()}"
    return f"{site.season}  {name}"


def _draw_pooled(axes: Axes, answer: PooledAnswer, sheet: Sheet) -> list[str]:
    """Draw the diamond and the bar of another field below a line; gives the names of their rows."""
    effect = answer.effect
    if effect is None:
        return []
    place = len(answer.sites)
    axes.axhline(place - 0.5, color=FAINT, linewidth=0.8)
    middle, low, high = (log_ratio_pct(end) for end in (effect.estimate, effect.low, effect.high))
    axes.fill([low, middle, high, middle], [place, place - 0.3, place, place + 0.3], color=ACCENT, zorder=3)
    _write(axes, place, (middle, low, high), sheet, bold=True)
    far = log_ratio_pct(effect.prediction_low), log_ratio_pct(effect.prediction_high)
    axes.barh(place + 1, far[1] - far[0], left=far[0], height=0.3, color=TINT, edgecolor=ACCENT, linewidth=0.8)
    text = f"{number(far[0], 1, sign=True)} to {number(far[1], 1, sign=True)}"
    if sheet.is_wide:
        axes.text(1.02, place + 1, text, transform=axes.get_yaxis_transform(), va="center", fontsize=8)
    return ["All together", "Another field" if sheet.is_wide else "Another\nfield"]


def _write(axes: Axes, place: int, ends: tuple[float, float, float], sheet: Sheet, bold: bool = False) -> None:
    """Write the figures of a row at the right: with the interval where there is room."""
    middle, low, high = (number(end, 1, sign=True) for end in ends)
    text = f"{middle} ({low} to {high})" if sheet.is_wide else middle
    axes.text(
        1.02,
        place,
        text,
        transform=axes.get_yaxis_transform(),
        va="center",
        fontsize=8,
        color=ACCENT if bold else INK,
        fontweight="bold" if bold else "normal",
    )


def _set_axes(axes: Axes, labels: list[str], sheet: Sheet) -> None:
    """Name the rows and the axis."""
    axes.set_yticks(range(len(labels)), labels, fontsize=8)
    axes.set_ylim(len(labels) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel("Difference from the control, %")
    number_axis(axes.xaxis, 6 if sheet.is_wide else 3, sign=True)
    axes.grid(axis="x", color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
