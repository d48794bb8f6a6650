"""The folders of marked work: each written beside its place, private, and moved there when it is whole."""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path


def prepare(target: Path, files: dict[str, bytes]) -> Path:
    """Write a folder that ``settle`` will move to ``target``. Raises OSError."""
    fresh = target.with_name(f".{target.name}.new")
    remove(fresh)
    target.parent.mkdir(parents=True, exist_ok=True)
    os.chmod(target.parent, 0o700)
    fresh.mkdir(mode=0o700)
    for name, data in files.items():
        path = fresh / name
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
    return fresh


def settle(target: Path) -> None:
    """Put what was prepared in the place of what stood there. Raises OSError."""
    fresh, old = target.with_name(f".{target.name}.new"), target.with_name(f".{target.name}.old")
    remove(old)
    if target.exists():
        os.replace(target, old)
    os.replace(fresh, target)
    remove(old)


def remove(folder: Path) -> None:
    """Remove a folder and what is in it, whatever its permissions."""
    if folder.exists():
        for path in (folder, *folder.rglob("*")):
            if path.is_dir() and not path.is_symlink():
                path.chmod(0o700)
        shutil.rmtree(folder)


def clear_left_over(root: Path) -> None:
    """Remove what a marking that was killed left behind: half-written folders in the course, and work
    folders, with the copies of student work in them.
    """
    for step in ("autograded", "feedback"):
        for pattern in ("*/.*.new", "*/.*.old"):
            for folder in (root / step).glob(pattern):
                target = folder.with_name(folder.name[1:].rsplit(".", 1)[0])
                if folder.name.endswith(".old") and not target.exists():
                    os.replace(folder, target)
                else:
                    remove(folder)
    for folder in Path(tempfile.gettempdir()).glob("eqlib-*-pid*-*"):
        with suppress(OSError, ValueError):
            owner = int(folder.name.split("-pid", 1)[1].split("-", 1)[0])
            if folder.stat().st_uid == os.getuid() and not _alive(owner):
                remove(folder)


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
