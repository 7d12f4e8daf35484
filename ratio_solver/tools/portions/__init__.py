"""What goes into each serving."""
