"""From a recipe to a programme and back: the weights, why those, or why there are none."""
