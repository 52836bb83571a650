"""One BLAS thread inside a fit.

numpy and scipy each carry a pool of OpenBLAS threads. On the small matrices of a fit a second thread costs ten
to a hundred times what it brings whenever the cores are busy, so every fit runs on one and then gives the pools
back as they were.
"""

from __future__ import annotations

from contextlib import AbstractContextManager
from functools import cache
from typing import Any

from threadpoolctl import ThreadpoolController

__all__ = ["one_thread"]


@cache
def _controller() -> ThreadpoolController:
    # scipy's pool exists only once scipy.linalg is loaded; a controller made before would never see it.
    import scipy.linalg  # noqa: F401

    return ThreadpoolController()


def one_thread() -> AbstractContextManager[Any]:
    """Context in which BLAS and LAPACK use one thread; the former limits return on leaving.

    Examples
    --------
    >>> with one_thread():
    ...     pass
    """
    limits: AbstractContextManager[Any] = _controller().limit(limits=1, user_api="blas")
    return limits
