"""What fat to add to reach a ratio."""
