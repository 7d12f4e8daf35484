"""A process that another one has started to compute for it."""

from __future__ import annotations

import os
import signal
import threading


def live_with_parent() -> None:
    """Let this process end with the one that started it, and not by the keyboard, which interrupts that one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    import multiprocessing

    parent = multiprocessing.parent_process()
    if parent is not None:  # one that is killed leaves no process behind
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    """End this process when the one that started it has ended."""
    from multiprocessing.connection import wait

    wait([sentinel])
    os._exit(1)
