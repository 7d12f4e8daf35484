"""An independent second opinion: random recipes, and other solvers on a formulation of their own."""
