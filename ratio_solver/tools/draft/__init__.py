"""A recipe file from a written recipe: the cook's own lines, or a saved page."""
