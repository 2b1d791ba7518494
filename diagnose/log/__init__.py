"""Batch diagnosis of logged fault codes: from files of events to a ranked work list."""
