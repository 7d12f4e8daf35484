"""One food in the place of another."""
