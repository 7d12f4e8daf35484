"""A recipe solved again with other targets."""
