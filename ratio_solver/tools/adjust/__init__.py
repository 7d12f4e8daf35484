"""Solving again around what is in the bowl."""
