"""The rule base: what is known of how a tie goes wrong. `load_rules` reads it."""

from diagnose.knowledge.load import load_rules, rules_folder
from diagnose.knowledge.model import SOMETHING_ELSE, Knowledge

__all__ = ["SOMETHING_ELSE", "Knowledge", "load_rules", "rules_folder"]
