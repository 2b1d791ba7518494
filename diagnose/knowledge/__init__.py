"""The rule base: what is known of how a tie goes wrong. `load_rules` reads it."""

from diagnose.knowledge.load import chosen_rules, load_rules, own_rules_folder, rules_folder
from diagnose.knowledge.model import Knowledge

__all__ = ["Knowledge", "chosen_rules", "load_rules", "own_rules_folder", "rules_folder"]
