"""Weights for a recipe."""
