"""What the cook wrote: the recipe, its targets, its file, and the limits that follow from them."""
