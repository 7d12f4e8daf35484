"""What makes the project's data; no part of the package."""
