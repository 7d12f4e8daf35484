"""People on a prescribed diet and what they eat in a day: prescriptions, portions, dishes solved together."""
