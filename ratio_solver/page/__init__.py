"""A page, served from this machine, on which a hand moves the bounds of a recipe and sees the dish follow."""
