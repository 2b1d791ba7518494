"""One baler and its figures: units, grades, turns of an adjuster, springs, its own file."""
