"""How high a ratio can go."""
