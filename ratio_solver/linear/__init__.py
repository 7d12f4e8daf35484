"""A linear model with names and units; it knows no food."""
