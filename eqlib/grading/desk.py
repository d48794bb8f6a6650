"""The desk at which submissions are marked: warm workers with limits, and the sandbox behind them.

A worker reads a submission's files, has its cells run in the sandbox where that is needed, marks it and makes
its page, all in one copy of a warm process. Whoever asks only gets the result. Where copies of a process
cannot be made (Windows) the same is done here, and no student code is run.

A ``ClusterDesk`` gives the same tasks to a Dask cluster that is already there. Results come back to the one
process that writes the gradebook. A worker that is lost costs its submissions a second try elsewhere, nothing
else. Every machine of the cluster needs this version of eqlib. On paper, for 100,000 submissions of an
assignment such as 04 (measured on one busy core: 0.17 s of a worker with a page, 8 ms of the one who writes,
0.25 MB of notebook and page each): 5 core hours, 13 minutes of writing, 25 GB over the network; more than
about 20 workers bring nothing.
"""

from __future__ import annotations

import contextlib
import gc
import hashlib
import json
import os
import pickle
import shutil
import signal
import socket
import sys
import tempfile
import threading
import warnings
from concurrent.futures import CancelledError
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from eqlib.assess.mark import mark
from eqlib.errors import EqlibError
from eqlib.grading.course import Paper
from eqlib.grading.gradebook import Remark, Scores, Standing
from eqlib.grading.intake import HandedIn, as_notebook
from eqlib.grading.page import make_page
from eqlib.grading.run import copies
from eqlib.grading.run.sandbox import Door, Isolation, Sandbox
from eqlib.grading.submission import Result, could_not, mark_submission

#: What one worker may use for reading, marking and page, the running of cells not counted: seconds,
#: megabytes.
SECONDS, MEGABYTES = 60, 2048
#: How often a submission is tried again when its worker in a cluster is lost.
TRIES = 3
#: Not with ``-m``: what a worker sends back must be of the same classes as here.
_MAIN = "from eqlib.grading.desk import main; main()"


class NotFinished(EqlibError):
    """A submission that a worker could not finish: too long, too large, our fault. The message says which."""


class ClusterError(EqlibError):
    """The cluster cannot be used; the message says why and what to do."""


@dataclass(frozen=True)
class Task:
    """One submission to be marked. ``standing``: the gradebook's of it. ``page``: make its pages too."""

    given: HandedIn
    standing: Standing
    page: bool = True


@dataclass
class Done:
    """A submission marked, and its pages by notebook name (None: they were not asked for)."""

    result: Result
    pages: dict[str, str] | None = None


def do(paper: Paper, task: Task, door: Door | None) -> Done:
    """The whole of one submission: a pure task."""
    run = None if door is None else lambda cells, files: door.run(cells, files, paper.limits)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = mark_submission(paper, task.given, run)
        pages = pages_of(paper, result, task.standing, {}) if task.page and not result.unusable else None
    return Done(result, pages)


def pages_of(
    paper: Paper, result: Result, standing: Standing, penalties: dict[str, float | None]
) -> dict[str, str]:
    """The feedback pages of a marked submission, with the marks and comments that a person gave."""
    pages = {}
    for name, made in result.books.items():
        if made.notebook is None:
            continue
        scores, comments = {}, {}
        for cell, grade in made.grades.items():
            counts = replace(standing.grades.get((name, cell), Scores()), auto=grade.auto)
            scores[cell] = (counts.counts or 0.0, grade.most, grade.state if counts.counts is None else "")
        for cell, text in made.comments.items():
            comments[cell] = standing.comments.get((name, cell), Remark()).manual or text
        book = as_notebook(json.loads(made.notebook))
        book.metadata["kernelspec"] = dict(paper.books[name].kernelspec)
        pages[name] = make_page(book, name, scores, comments, penalties.get(name) or 0.0, paper.questions)
    return pages


class Desk:
    """Marks submissions of one paper, in a ``with`` statement; several threads may call ``mark``."""

    def __init__(self, paper: Paper, cover: Any = ()) -> None:
        self.paper = paper
        self.sandbox: Sandbox | None = None
        self.worker: copies.Warm | None = None
        self.spare = Path(tempfile.mkdtemp(prefix=f"eqlib-marking-pid{os.getpid()}-"))
        self.needed = not all(paper.from_data(book) for book in paper.books.values())
        try:
            if copies.POSSIBLE:
                self._start()
            if self.needed:
                self.sandbox = Sandbox(cover)
        except BaseException:
            self.close()
            raise

    def _start(self) -> None:
        held = self.spare / "paper"
        held.write_bytes(pickle.dumps(self.paper))
        held.chmod(0o600)
        command = [sys.executable, "-I", "-c", _MAIN, str(held)]
        self.worker = copies.Warm(command, {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"})

    @property
    def isolation(self) -> Isolation | None:
        """How student code is shut in; None when none has to be run."""
        if not self.needed:
            return None
        return self.sandbox.isolation if self.sandbox else Isolation("none")

    def mark(self, task: Task) -> Done:
        """Mark one submission. Raises NotFinished when a worker could not."""
        return self._ask("mark", task)

    def pages(self, result: Result, standing: Standing, penalties: dict[str, float | None]) -> dict[str, str]:
        """The pages of a submission whose penalty was not known when it was marked."""
        return self._ask("pages", (result, standing, penalties))

    def _ask(self, what: str, given: Any) -> Any:
        door = self.sandbox.door if self.sandbox else None
        if self.worker is None:
            return do(self.paper, given, None) if what == "mark" else pages_of(self.paper, *given)
        try:
            link = copies.open_copy(self.worker.control, *([door.control] if door else []))
        except copies.Gone:
            raise NotFinished("the worker that marks has ended; mark again") from None
        with link:
            link.settimeout(
                SECONDS * 3 + self.paper.limits.notebook_seconds * max(1, len(self.paper.books)) * 1.5
            )
            try:
                about = (door.wrapped, door.home, door.cover) if door else None
                copies.send(link, pickle.dumps((what, given, about)))
                made = pickle.loads(copies.receive(link))
            except (copies.Gone, TimeoutError, OSError):
                raise NotFinished(
                    f"reading it took more than {SECONDS} s or {MEGABYTES} MB, or ended the worker; look at "
                    "it, and ask for it again without its outputs"
                ) from None
        if isinstance(made, NotFinished):
            raise made
        return made

    def __enter__(self) -> Any:
        return self

    def __exit__(self, *exception: Any) -> None:
        self.close()

    def close(self) -> None:
        """End the workers and the sandbox, and remove what they left on disk."""
        if self.worker is not None:
            self.worker.close()
        if self.sandbox is not None:
            self.sandbox.close()
        shutil.rmtree(self.spare, ignore_errors=True)


def _work(paper: Paper, link: socket.socket, control: socket.socket | None = None) -> None:
    """One submission in a copy of the warm worker."""
    what, given, about = pickle.loads(copies.receive(link))
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource  # of Unix only

        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 5))
        resource.setrlimit(resource.RLIMIT_AS, (MEGABYTES << 20, MEGABYTES << 20))
    signal.signal(signal.SIGXCPU, signal.SIG_DFL)
    door = Door(control, *about) if about and control else None
    made: Any
    try:
        made = do(paper, given, door) if what == "mark" else pages_of(paper, *given)
    except MemoryError:
        made = NotFinished(f"reading it took more than {MEGABYTES} MB; ask for it again without its outputs")
    except Exception as error:  # noqa: BLE001 - whoever asked is told what it was
        made = NotFinished(could_not(error))
    copies.send(link, pickle.dumps(made))


def main() -> None:
    """The warm worker: all is imported, one page is made, and each submission gets a copy of it."""
    warnings.simplefilter("ignore")
    held = Path(sys.argv[1])
    paper = pickle.loads(held.read_bytes())
    held.unlink()
    name, book = next(iter(paper.books.items()))
    empty = {"cells": [dict(cell) for cell in book.released], "metadata": {}}
    with contextlib.suppress(Exception):
        make_page(as_notebook(empty), name, {}, {}, 0.0, {})
        for question in paper.questions.values():
            mark(question, None, released=True)  # imports what marking imports
    gc.collect()
    gc.freeze()
    gc.disable()
    copies.serve(lambda link, *control: _work(paper, link, *control))


# -- on other machines -------------------------------------------------------------------------------------


def desk_at(address: str) -> Any:
    """What makes a desk of the cluster at ``address``, for ``bulk.grade``."""
    return lambda paper, cover=(): ClusterDesk(address, paper)


class ClusterDesk:
    """Marks submissions on a cluster. Same use as ``Desk``."""

    def __init__(self, address: str, paper: Paper) -> None:
        from distributed import Client  # an optional part

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
        self.isolation: Isolation | None = self._run("isolation")

    def _hand_out(self) -> Any:
        return self.client.scatter(self.data, broadcast=True, hash=False)

    def _run(self, what: str, *given: Any) -> Any:
        for _ in range(TRIES):
            paper = self.paper
            task = self.client.submit(_there, self.key, paper, what, *given, retries=TRIES, pure=False)
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
        return self._run("mark", task)

    def pages(self, result: Any, standing: Any, penalties: Any) -> dict[str, str]:
        """The pages of a submission whose penalty was not known when it was marked."""
        return self._run("pages", result, standing, penalties)

    def __enter__(self) -> Any:
        return self

    def __exit__(self, *exception: Any) -> None:
        self.client.close()


@lru_cache(maxsize=1)
def _desk(key: str, data: bytes) -> Desk:
    """One desk for each process of the cluster, as long as it marks the same paper."""
    return Desk(pickle.loads(data))


def _there(key: str, data: bytes, what: str, *given: Any) -> Any:
    """What a desk of another process has or does."""
    found = getattr(_desk(key, data), what)
    return found(*given) if given else found
