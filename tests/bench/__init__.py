"""Benchmarks: run by hand, they print ratios and assert nothing about time."""
