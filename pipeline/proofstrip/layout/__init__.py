"""Strips for the coming season: where they lie, what each gets, and what they can find."""

from proofstrip.layout.expect import Expectation, expect
from proofstrip.layout.folder import write_layout
from proofstrip.layout.load import load_layout
from proofstrip.layout.plan import Plan, plan_layout
from proofstrip.layout.settings import LayoutSettings

__all__ = ["Expectation", "LayoutSettings", "Plan", "expect", "load_layout", "plan_layout", "write_layout"]
