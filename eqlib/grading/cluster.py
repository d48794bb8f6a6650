"""The desk on other machines: the same task for each submission, on a Dask cluster that is already there.

Results come back to the one process that writes the gradebook. A worker that is lost costs its submissions a
second try elsewhere, nothing else. Every machine of the cluster needs this version of eqlib.

On paper, for 100,000 submissions of an assignment such as 04 (measured on one busy core: 0.10 s of a worker
without a page, 0.17 s with one, 8 ms of the one who writes, 0.25 MB of notebook and page each): 100,000 x
0.17 s is under 5 core hours, 9 minutes on 32 cores; writing takes 13 minutes and so sets the pace, and more
than about 20 workers bring nothing; 25 GB go over the network and onto the disk. At a few cents a core hour
(from memory) the computing costs less than a coffee.
"""

from __future__ import annotations

import hashlib
import pickle
import threading
from concurrent.futures import CancelledError
from functools import lru_cache
from typing import Any

from eqlib.errors import EqlibError
from eqlib.grading.desk import Desk, Done, NotFinished, Task
from eqlib.grading.paper import Paper
from eqlib.grading.run.sandbox import Isolation

#: How often a submission is tried again when its worker is lost.
TRIES = 3


class ClusterError(EqlibError):
    """The cluster cannot be used; the message says why and what to do."""


def desk_at(address: str) -> Any:
    """What makes a desk of the cluster at ``address``, for ``bulk.grade``."""
    return lambda paper, cover=(): ClusterDesk(address, paper)


class ClusterDesk:
    """Marks submissions on a cluster. Same use as ``Desk``."""

    def __init__(self, address: str, paper: Paper) -> None:
        from distributed import Client

        try:
            self.client = Client(address, timeout="20s")
        except (OSError, TimeoutError, ValueError) as error:
            said = str(error).splitlines()[0][:200]
            why = f"{address}: no cluster answers there ({said}); start one, or mark without --dask"
            raise ClusterError(why) from None
        self.data = pickle.dumps(paper)
        self.key = hashlib.sha256(self.data).hexdigest()
        self.lock = threading.Lock()
        self.paper = self._hand_out()
        self.isolation: Isolation | None = self._run(_isolation)

    def _hand_out(self) -> Any:
        return self.client.scatter(self.data, broadcast=True, hash=False)

    def _run(self, work: Any, *given: Any) -> Any:
        for _ in range(TRIES):
            paper = self.paper
            task = self.client.submit(work, self.key, paper, *given, retries=TRIES, pure=False)
            try:
                return task.result()
            except CancelledError:
                # The worker that held the paper is lost: it is handed out again, once for all who wait.
                with self.lock:
                    if self.paper is paper:
                        self.paper = self._hand_out()
        raise NotFinished("the cluster lost it again and again; mark again")

    def mark(self, task: Task) -> Done:
        """Mark one submission. Raises NotFinished when a worker could not."""
        return self._run(_mark, task)

    def pages(self, result: Any, standing: Any, penalties: Any) -> dict[str, str]:
        """The pages of a submission whose penalty was not known when it was marked."""
        return self._run(_pages, result, standing, penalties)

    def __enter__(self) -> Any:
        return self

    def __exit__(self, *exception: Any) -> None:
        self.client.close()


@lru_cache(maxsize=1)
def _desk(key: str, data: bytes) -> Desk:
    """One desk for each process of the cluster, as long as it marks the same paper."""
    return Desk(pickle.loads(data))


def _isolation(key: str, data: bytes) -> Isolation | None:
    return _desk(key, data).isolation


def _mark(key: str, data: bytes, task: Task) -> Done:
    return _desk(key, data).mark(task)


def _pages(key: str, data: bytes, *given: Any) -> dict[str, str]:
    return _desk(key, data).pages(*given)
