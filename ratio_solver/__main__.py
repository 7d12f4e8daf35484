"""The command line in a process of its own: ``ratio-solver``, or ``python -m ratio_solver``."""

from __future__ import annotations

import os

from ratio_solver.cli import main

THREADS = ("OPENBLAS_NUM_THREADS", "GOTO_NUM_THREADS", "OMP_NUM_THREADS")
"""Variables by which a user chooses how many threads OpenBLAS, numpy's linear algebra, starts (its README)."""


def run() -> None:
    """Run the command line, with one thread for linear algebra unless the user has chosen.

    It starts one for every core when numpy is loaded, which takes longer than all that they could do for matrices of
    some ten rows. Who imports the library decides for himself: only here, where the process is ours, is it set.
    """
    if not any(name in os.environ for name in THREADS):
        os.environ[THREADS[0]] = "1"
    main()


if __name__ == "__main__":
    run()
