"""Figures that were published, reckoned again."""
