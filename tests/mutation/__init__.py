"""Deliberate faults, and a run that tells which of them the tests notice: ``python -m tests.mutation``."""
