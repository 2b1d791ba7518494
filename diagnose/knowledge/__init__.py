"""The rule base: what is known of how a tie goes wrong. `load_rules` reads it."""

from diagnose.knowledge.load import load_rules, rules_folder
from diagnose.knowledge.model import Knowledge

__all__ = ["Knowledge", "load_rules", "rules_folder"]
