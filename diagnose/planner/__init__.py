"""The next step: fewest expected minutes until the fault is found."""

from diagnose.planner.lookahead import Option, Outlook, look_ahead
from diagnose.planner.problem import Problem

__all__ = ["Option", "Outlook", "Problem", "look_ahead"]
