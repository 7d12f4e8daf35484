"""Outcomes as text, tables and JSON: pure functions."""
