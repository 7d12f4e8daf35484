"""Why no weights satisfy the limits, and which relaxations would."""
