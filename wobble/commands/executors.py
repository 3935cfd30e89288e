"""Who computes: this process, several on this machine, or a Dask cluster that is there.

In: a number of workers, or the address of a cluster's scheduler. Out: an executor of
`concurrent.futures`.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.connection import wait

from wobble.campaign.study import Inline
from wobble.errors import InputError
from wobble.version import __version__

__all__ = ["cluster_executor", "local_executor"]

PATIENCE = 5
"""Seconds after which a cluster that has not answered does not answer."""


@contextmanager
def local_executor(workers: int) -> Iterator[Executor]:
    """So many processes of this machine; one means this process itself.

    Raises
    ------
    InputError
        If there is to be none.
    """
    if workers < 1:
        raise InputError("at least one worker is needed", field="--workers", found=workers)
    if workers == 1:
        yield Inline()
        return
    # Each worker has a core of its own; threads of the linear algebra would share it.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    pool = ProcessPoolExecutor(
        workers, multiprocessing.get_context("spawn"), initializer=_end_with_parent
    )
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def _end_with_parent() -> None:
    """See to it that a worker does not outlive a parent that was killed."""
    parent = multiprocessing.parent_process()
    assert parent is not None  # a worker has one

    def watch() -> None:
        wait([parent.sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


@contextmanager
def cluster_executor(address: str) -> Iterator[Executor]:
    """The workers of a Dask cluster; they must have this package and its ephemerides.

    Raises
    ------
    InputError
        If the library is not installed, the cluster does not answer or has no worker, or
        its workers lack this version of the package.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise InputError(
            "a cluster needs the library distributed",
            field="--cluster",
            expected='pip install "wobble[cluster]"',
        ) from error
    try:
        client = Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(
            f"the cluster does not answer within {PATIENCE} s",
            field="--cluster",
            found=address,
            expected="the address of a running scheduler, tcp://HOST:PORT, or --workers",
        ) from error
    with client:
        try:
            client.wait_for_workers(1, timeout=PATIENCE)
            versions = set(client.run(_version).values())
        except TimeoutError as error:
            raise InputError("the cluster has no worker", field="--cluster") from error
        except Exception as error:  # whatever the workers raise in want of the package
            raise InputError(
                f"the cluster's workers cannot use wobble ({error})",
                field="--cluster",
                expected=f"wobble {__version__} installed there",
            ) from error
        if versions != {__version__}:
            raise InputError(
                "the cluster's workers have another version of wobble",
                field="--cluster",
                found=", ".join(sorted(versions)),
                expected=__version__,
            )
        yield client.get_executor()


def _version() -> str:
    return __version__
