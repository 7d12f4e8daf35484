"""Linear programmes with names and units; it knows no food. SciPy is the solver."""
