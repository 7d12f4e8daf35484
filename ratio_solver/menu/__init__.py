"""A CSV of recipes: read into arrays, solved in stacks, over processes, into a folder that is whole or not there."""
