"""A page to print."""
