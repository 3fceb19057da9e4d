"""One thread for linear algebra: the matrices here are small, and threads that wait for each other take longer than one that works."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from threadpoolctl import ThreadpoolController

# Read by the libraries when NumPy is first imported.
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


@contextmanager
def one_thread() -> Iterator[None]:
    """Linear algebra on one thread, whoever imported NumPy and however it was told to behave."""
    with _controller().limit(limits=1, user_api="blas"):
        yield


@cache
def _controller() -> ThreadpoolController:
    """Of the libraries that are loaded: SciPy brings one of its own."""
    import scipy.linalg  # noqa: F401
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()
