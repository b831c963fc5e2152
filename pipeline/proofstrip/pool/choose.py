"""Which sites belong together: one crop, one control, every trial once; what does not fit is named with its reason."""

from collections.abc import Callable

from proofstrip.errors import DataError, Notice
from proofstrip.pool.sites import LeftOut, Site, SiteList


def choose_sites(named: SiteList, crop: str | None = None, control: str | None = None) -> SiteList:
    """Keep the sites of one crop and one control, each trial once.

    Parameters
    ----------
    named : SiteList
        In the order in which they were named: of a trial that stands there twice, the first counts.
    crop, control : str, optional
        The ones to keep; without them, the ones of most trials.

    Returns
    -------
    SiteList

    Raises
    ------
    DataError
        When nothing is left, or two crops or controls have equally many trials.
    """
    out = list(named.left_out)
    kept = _keep_one(list(named.sites), out, "crop", crop, lambda site: site.crop, may_be_unknown=True)
    kept = _keep_one(kept, out, "control", control, lambda site: site.control)
    kept = _keep_first(kept, out)
    if not kept:
        reasons = "; ".join(f"{row.trial} ({row.source}): {row.reason}" for row in out) or "no trial was named"
        raise DataError(f"pool: no trial is left to be pooled. {reasons}.")
    return SiteList(tuple(kept), tuple(out), (*named.notices, *_look(kept)))


def fold(name: str) -> str:
    """Compare names without their case and outer or double spaces.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Examples
    --------
    >>> fold(" Plain  Header ") == fold("plain header")
    True
    """
    return " ".join(name.casefold().split())


def _keep_one(
    sites: list[Site],
    out: list[LeftOut],
    what: str,
    wanted: str | None,
    of: Callable[[Site], str],
    may_be_unknown: bool = False,
) -> list[Site]:
    """Keep the sites whose crop, or control, is the wanted one or that of most trials."""
    groups: dict[str, set[tuple[str, int]]] = {}
    spelled: dict[str, str] = {}
    for site in sites:
        if of(site) or not may_be_unknown:
            groups.setdefault(fold(of(site)), set()).add((site.trial, site.season))
            spelled.setdefault(fold(of(site)), of(site))
    if not groups:
        return sites
    most = sorted(groups, key=lambda name: -len(groups[name]))
    names = ", ".join(f"{spelled[name]!r} (trials: {len(groups[name])})" for name in most)
    if wanted is not None and fold(wanted) not in groups:
        raise DataError(f"pool: no trial has the {what} {wanted!r}; there are {names}.")
    if wanted is None and len(most) > 1 and len(groups[most[0]]) == len(groups[most[1]]):
        raise DataError(f"pool: the trials are of several {what}s: {names}. Choose one with --{what}.")
    keep = most[0] if wanted is None else fold(wanted)
    kept = []
    for site in sites:
        if fold(of(site)) == keep or (may_be_unknown and not of(site)):
            kept.append(site)
        else:
            reason = f"its {what} is {of(site)!r}, that of the pooled trials {spelled[keep]!r}"
            out.append(LeftOut(f"{site.name}: {site.treatment}", site.source, reason))
    return kept


def _keep_first(sites: list[Site], out: list[LeftOut]) -> list[Site]:
    """Keep every treatment of a trial once: by name, field and season; of runs, by their figures too."""
    named: dict[tuple[object, ...], Site] = {}
    figures: dict[tuple[object, ...], Site] = {}
    kept = []
    for site in sites:
        name = (fold(site.trial), fold(site.place), site.season, fold(site.treatment))
        figure = (fold(site.treatment), site.log_ratio, site.se)
        first = named.get(name)
        if first is not None:
            reason = f"the same trial stands there already ({first.source}); another one needs another name in [trial]"
        elif figure in figures and not site.from_table:
            first = figures[figure]
            reason = f"its figures are those of {first.name} ({first.source}) to the last digit: the same trial twice"
        if first is not None:
            out.append(LeftOut(f"{site.name}: {site.treatment}", site.source, reason))
            continue
        named[name] = figures[figure] = site
        kept.append(site)
    return kept


def _look(sites: list[Site]) -> list[Notice]:
    """Say what the reader should know about how the sites fit together."""
    notices = []
    if any(site.crop for site in sites) and any(not site.crop for site in sites):
        names = ", ".join(site.name for site in sites if not site.crop)
        notices.append(Notice("crop_unknown", f"No crop is named for {names}; they are taken to be of the same crop."))
    places = [(site.place, site.season, fold(site.treatment)) for site in sites if site.place]
    twice = sorted({f"{spot[0]} in {spot[1]}" for spot in places if places.count(spot) > 1})
    if twice:
        notices.append(
            Notice(
                "same_field",
                f"Several trials stand on one field in one season ({', '.join(twice)}). They share ground and weather, "
                "so together they say less than as many trials apart.",
            )
        )
    if len({site.season for site in sites}) == 1:
        notices.append(
            Notice(
                "one_season",
                f"All trials are of {sites[0].season}. How other seasons differ cannot be told from one.",
            )
        )
    return notices
