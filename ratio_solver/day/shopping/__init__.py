"""What to buy for several dishes, a menu or a day."""
