"""Twine: runnage, the force on a strand against the declared knot strength, metres and balls."""
