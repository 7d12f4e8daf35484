"""The commands, a module for each group of them; `ratio_solver.cli` puts them together."""
