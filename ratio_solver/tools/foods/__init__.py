"""Looking into the composition table."""
