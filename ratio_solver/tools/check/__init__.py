"""A recipe as written, against its targets."""
