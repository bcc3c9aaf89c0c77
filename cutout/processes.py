"""Processes that start in milliseconds where the system can."""

from __future__ import annotations

import multiprocessing
from multiprocessing.context import BaseContext


def quick_context(*modules: str) -> BaseContext:
    """Forks of a server that has `modules` imported where there is one; else fresh interpreters."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(modules))
    return context
