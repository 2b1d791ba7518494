"""The casebook: every bad bale solved, kept, shared, learnt from and replayed."""
