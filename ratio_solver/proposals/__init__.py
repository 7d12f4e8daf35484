"""From a recipe to a model and back: proposals, diagnoses and what else a cook asks."""
