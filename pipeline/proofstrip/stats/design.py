"""From strips to plots: one yield for each treatment in each block, and the design that they form."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from proofstrip.errors import Notice
from proofstrip.stats.results import Design

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Plots:
    """What is compared: one value for a treatment in a block (or a strip, without blocks).

    Attributes
    ----------
    values : ndarray, shape (n,)
        Yields.
    treatment, block : ndarray of int, shape (n,)
        Places in ``treatments`` and ``blocks``; ``block`` is all 0 in a design without blocks.
    order, times : ndarray, shape (n,), or None
        Place across the field and hours since the first strip was cut, where the table gives them.
    treatments, blocks : tuple of str
        The control comes first; ``blocks`` is empty in a design without blocks.
    systematic : bool
        The treatments follow each other in the same order throughout: a straight trend along it is taken out.
    machines : ndarray, shape (n, m), or None
        Share of each plot that each combine but the first cut, where several did and what they read counts.
    """

    values: Floats
    treatment: Codes
    block: Codes
    order: Floats | None
    treatments: tuple[str, ...]
    blocks: tuple[str, ...]
    times: Floats | None = None
    systematic: bool = False
    machines: Floats | None = None

    @property
    def beside(self) -> tuple[Floats | None, Floats | None, Floats | None]:
        """Order, times and machines."""
        return self.order, self.times, self.machines

    def with_values(self, values: Floats) -> "Plots":
        """Give the plots with other yields, that hang on no combine."""
        return replace(self, values=values, machines=None)

    def keep(self, mask: NDArray[np.bool_]) -> "Plots":
        """Give the plots where ``mask`` is true."""
        order, times, machines = (None if part is None else part[mask] for part in self.beside)
        values, treatment, block = self.values[mask], self.treatment[mask], self.block[mask]
        kept = replace(self, values=values, treatment=treatment, block=block)
        return replace(kept, order=order, times=times, machines=machines)

    def without_block(self, block: int) -> "Plots":
        """Give the plots of all other blocks, numbered anew."""
        rest = self.keep(self.block != block)
        names = (*self.blocks[:block], *self.blocks[block + 1 :])
        return replace(rest, block=rest.block - (rest.block > block), blocks=names)

    def cells(self) -> Floats:
        """Give blocks x treatments, empty where a treatment is absent."""
        table = np.full((max(len(self.blocks), 1), len(self.treatments)), np.nan)
        table[self.block, self.treatment] = self.values
        return table

    def named_cells(self) -> list[tuple[str, str]]:
        """Give treatment and block of each plot by name; no block where there are none."""
        blocks = self.blocks or ("",)
        return [(self.treatments[t], blocks[b]) for t, b in zip(self.treatment, self.block, strict=True)]


def average_strips(  # noqa: PLR0913 - what the table gives, column by column
    values: Floats,
    treatments: list[str],
    blocks: list[str] | None,
    control: str,
    order: Floats | None = None,
    times: Floats | None = None,
    machines: Floats | None = None,
) -> tuple[Plots, list[Notice]]:
    """Give one value for each treatment in each block; without blocks every strip stays a value of its own.

    Parameters
    ----------
    values : ndarray, shape (n,)
    treatments : list of str, length n
    blocks : list of str, length n, or None
    control : str
        Comes first among the treatments.
    order, times : ndarray, shape (n,), optional
    machines : ndarray, shape (n, m), optional

    Returns
    -------
    tuple of Plots and list of Notice
    """
    names = (control, *[name for name in dict.fromkeys(treatments) if name != control])
    treatment = _code(treatments, names)
    if blocks is None or len(set(blocks)) == 1:
        notices = []
        if blocks is not None:
            told = f"All strips carry the block {blocks[0]!r}; they are compared as strips without blocks."
            notices.append(Notice("one_block", told))
        return Plots(values, treatment, np.zeros_like(treatment), order, names, (), times, machines=machines), notices
    block_names = tuple(dict.fromkeys(blocks))
    cell = _code(blocks, block_names) * len(names) + treatment
    kept, inverse, counts = np.unique(cell, return_inverse=True, return_counts=True)
    means, mean_order, mean_times = (
        None if part is None else np.bincount(inverse, part) / counts for part in (values, order, times)
    )
    assert means is not None
    mix = None if machines is None else np.stack([np.bincount(inverse, own) / counts for own in machines.T], axis=1)
    plots = Plots(
        means, kept % len(names), kept // len(names), mean_order, names, block_names, mean_times, machines=mix
    )
    if counts.max() == 1:
        return plots, []
    told = (
        f"{int((counts > 1).sum())} times a treatment has several strips in one block; their mean counts once. "
        "Strips of one treatment in one block are not replicates."
    )
    return plots, [Notice("strips_averaged", told)]


def _code(labels: list[str], names: tuple[str, ...]) -> Codes:
    """Turn labels into their places in ``names``."""
    places = {name: place for place, name in enumerate(names)}
    return np.array([places[label] for label in labels], dtype=np.intp)


def recognise(plots: Plots) -> tuple[Design, Plots, list[Notice]]:
    """Name the design, and take out what cannot be compared with the control.

    Parameters
    ----------
    plots : Plots

    Returns
    -------
    tuple of str, Plots and list of Notice
    """
    sizes = np.bincount(plots.block)
    if plots.blocks and sizes.max() == 1:  # no block compares anything: the blocks are the strips themselves
        plots = replace(plots, block=np.zeros_like(plots.block), blocks=())
    if not plots.blocks:
        counts = np.bincount(plots.treatment)
        replicated = len(counts) > 1 and counts[0] > 1 and counts[1:].max() > 1
        return ("unblocked" if replicated else "unreplicated"), plots, []
    connected, notices = _keep_connected(plots)
    if len(connected.treatments) < 2:
        return "unreplicated", plots, []
    plots, k = connected, len(connected.treatments)
    if k == 2:
        whole = np.bincount(plots.block)[plots.block] == 2
        if whole.sum() >= 4:
            pairs = _recode(plots.keep(whole))
            return "paired", pairs, [*notices, *_note_broken(plots.keep(~whole))]
        return "unreplicated", plots, notices
    if len(plots.blocks) < 2:
        return "unreplicated", plots, notices
    if len(plots.values) == len(plots.blocks) * k:
        return "complete_blocks", plots, notices
    residual_df = len(plots.values) - len(plots.blocks) - k + 1
    return ("incomplete_blocks" if residual_df > 0 else "unreplicated"), plots, notices


def _keep_connected(plots: Plots) -> tuple[Plots, list[Notice]]:
    """Keep the treatments that shared blocks tie to the control, at one or more removes."""
    reached = {0}
    together = [set(plots.treatment[plots.block == block].tolist()) for block in range(len(plots.blocks))]
    grown = True
    while grown:
        more = set().union(*[block for block in together if block & reached]) - reached
        reached |= more
        grown = bool(more)
    apart = [name for place, name in enumerate(plots.treatments) if place not in reached]
    if not apart:
        return plots, []
    told = (
        f"{', '.join(apart)}: no block holds it together with {plots.treatments[0]}, not even through a third "
        "treatment. What differs between blocks is ground, so there is nothing to compare; left out."
    )
    return _recode(plots.keep(np.isin(plots.treatment, list(reached)))), [Notice("not_connected", told)]


def _recode(plots: Plots) -> Plots:
    """Renumber treatments and blocks after some were taken out; the control stays first."""
    blocks, block = np.unique(plots.block, return_inverse=True)
    treatments, treatment = np.unique(plots.treatment, return_inverse=True)
    return replace(
        plots,
        block=block,
        blocks=tuple(plots.blocks[place] for place in blocks),
        treatment=treatment,
        treatments=tuple(plots.treatments[place] for place in treatments),
    )


def _note_broken(plots: Plots) -> list[Notice]:
    """Name the halves of broken pairs."""
    if not len(plots.values):
        return []
    lost = ", ".join(f"{treatment} in block {block}" for treatment, block in plots.named_cells())
    return [Notice("broken_pair", f"Without its partner a strip says nothing about the difference; not used: {lost}.")]
