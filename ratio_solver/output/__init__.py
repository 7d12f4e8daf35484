"""Numbers, blocks of text, JSON and CSV, files that are whole or not there, and shared options."""
