"""What is said of a step, a suspect, a setting, a caution, a whole case: data, and how it looks."""
