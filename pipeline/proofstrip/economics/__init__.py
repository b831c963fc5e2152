"""Does it pay: partial budget, break-even, pay-back time and worth over the life, each with its uncertainty.

Money follows the grain that is paid for: below market moisture an elevator pays the weight delivered, not the bushels
at standard moisture.
"""

from proofstrip.economics.again import price_again, price_blocks
from proofstrip.economics.budget import BudgetLine, PartialBudget, capital_recovery_factor
from proofstrip.economics.dose import price_rates
from proofstrip.economics.price import Beside, price_gain, price_treatments
from proofstrip.economics.prices import KG_PER
from proofstrip.economics.record import Payback
from proofstrip.economics.settlement import delivered_moisture

__all__ = [
    "KG_PER",
    "Beside",
    "BudgetLine",
    "PartialBudget",
    "Payback",
    "capital_recovery_factor",
    "delivered_moisture",
    "price_again",
    "price_blocks",
    "price_gain",
    "price_rates",
    "price_treatments",
]
