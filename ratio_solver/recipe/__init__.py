"""What the cook wrote: the recipe, its targets, its file."""
