"""``python -m ratio_solver``."""

from ratio_solver.cli import main

if __name__ == "__main__":
    main()
