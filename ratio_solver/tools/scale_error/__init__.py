"""What errors of the scale leave of the ratio."""
