"""What a figure that is missing means, and what moisture and a pay-back time that nobody chose did."""

from proofstrip.economics.case import Case
from proofstrip.errors import Notice


def make_notes(case: Case) -> tuple[Notice, ...]:
    """Say what stands beside the figures of one treatment.

    Parameters
    ----------
    case : Case

    Returns
    -------
    tuple of Notice
    """
    found = [*_about_outlay(case), *_about_grain(case)]
    return tuple(Notice(code, message) for code, message in found)


def _about_outlay(case: Case) -> list[tuple[str, str]]:
    """Say what the outlay leaves open."""
    settings, gain = case.settings, case.gain
    notes = []
    if not settings.investment.amount:
        notes.append(
            ("no_investment", "No investment is given, so there are no break-even acres and no pay-back time.")
        )
    elif gain.value <= 0:
        notes.append(("no_break_even", "An acre loses money, so no number of acres pays the investment back."))
    elif gain.low is not None and gain.low <= 0:
        notes.append(
            (
                "break_even_open",
                "The interval of the gain reaches zero or below: at its low end the investment is never paid back, so "
                "break-even acres and pay-back time have no upper end.",
            )
        )
    if settings.investment.amount and settings.area_ha is None:
        notes.append(("no_area", "No area is given, so there is no pay-back time; [economics] area sets it."))
    if settings.investment.amount and not settings.years_given:
        notes.append(
            (
                "years_not_given",
                "No pay-back time is given, so one harvest has to bring back the whole investment; [economics] years "
                "sets it.",
            )
        )
    return notes


def _about_grain(case: Case) -> list[tuple[str, str]]:
    """Say what moisture did to the money."""
    sold, notes = case.sold, []
    delivery = case.settings.delivery
    if min(one.paid for one in sold) < case.market_share - 1e-9:
        drier = delivery is None
        notes.append(
            (
                "paid_below_standard",
                ("Grain was delivered drier than standard and is paid by its weight: " if drier else "The buyer pays ")
                + f"{100 * sold[0].paid:.1f} % of the standard weight of {case.treatment}, {100 * sold[1].paid:.1f} % "
                f"of {case.control}'s.",
            )
        )
    if delivery is not None and (delivery.drying or delivery.discount) and None in [one.moisture_pct for one in sold]:
        notes.append(
            (
                "moisture_unknown",
                "The moisture of the grain is not known, so shrink, drying and discounts of [economics.delivery] are "
                "left out.",
            )
        )
    return notes
