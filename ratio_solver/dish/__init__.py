"""A recipe at given weights: its limits as exact rows, its facts, and what must be said of it."""
