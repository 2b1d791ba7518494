"""The rule base for its keepers: listed, shown, proved, begun, and what a change has moved."""
