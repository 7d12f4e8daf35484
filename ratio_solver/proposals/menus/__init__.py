"""A whole menu solved at once: recipes as arrays, stacked programmes, results as tables."""
