"""What is to be known before a figure is trusted."""
