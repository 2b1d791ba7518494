"""From a bad bale to the one part or setting that is wrong: dialogue, case file, record."""
