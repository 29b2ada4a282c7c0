"""The folder of an export: written beside its place and put there whole, so that a crash leaves nothing half."""

import hashlib
import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from guide.desk.lab import DeskError
from guide.papers.datapackage import Written, names_in

DESCRIPTOR = "datapackage.json"
PRACTICE = "PRACTICE_"
"""In front of every file name of a practice export."""

_LARGEST_DESCRIPTOR = 50_000_000
_DAY_S = 86_400


class Folder:
    """Takes files one after the other, counting and hashing as it writes."""

    def __init__(self, path: Path, practice: bool) -> None:
        self.path, self.prefix = path, PRACTICE if practice else ""
        self.written: list[Written] = []

    def write(self, name: str, chunks: Iterable[bytes]) -> Written:
        """Writes a file; it is on the disk when this returns."""
        digest, size = hashlib.sha256(), 0
        file_name = f"{self.prefix}{name}"
        with (self.path / file_name).open("xb") as file:
            for chunk in chunks:
                digest.update(chunk)
                size += len(chunk)
                file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
        self.written.append(Written(file_name, size, digest.hexdigest()))
        return self.written[-1]


@contextmanager
def export_folder(to: Path, practice: bool) -> Iterator[Folder]:
    """A folder beside ``to`` that takes its place at the end; an exception leaves ``to`` as it was.

    Raises DeskError if ``to`` is there and is anything but empty or an earlier export of the same sort.
    """
    _check(to, practice)
    to = Path(os.path.abspath(to))
    to.parent.mkdir(parents=True, exist_ok=True)
    beside = to.with_name(f".{to.name}.{secrets.token_hex(4)}.part")
    _clear(to, "part")
    beside.mkdir()
    try:
        yield Folder(beside, practice)
        _put(beside, to)
        _clear(to, "old")
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _clear(to: Path, suffix: str) -> None:
    """Removes what exports to this place left beside it; what is of today may be another machine's, at work."""
    name = re.compile(rf"\.{re.escape(to.name)}\.[0-9a-f]{{1,10}}\.{suffix}")
    for path in list(to.parent.iterdir()):
        if name.fullmatch(path.name) and path.is_dir() and not path.is_symlink():
            with suppress(OSError):  # another export was first
                if time.time() - path.stat().st_mtime > _DAY_S:
                    shutil.rmtree(path, ignore_errors=True)


def _put(beside: Path, to: Path) -> None:
    old = beside.with_suffix(".old")
    if to.exists():
        to.rename(old)
    try:
        beside.rename(to)
    except BaseException:
        if old.exists():
            old.rename(to)
        raise
    shutil.rmtree(old, ignore_errors=True)
    with suppress(OSError):  # a system that can't sync a folder keeps it soon enough
        handle = os.open(to.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _check(to: Path, practice: bool) -> None:
    if to.is_symlink():
        raise DeskError(f"{to} is a link: name the folder itself")
    if not to.exists():
        return
    if not to.is_dir():
        raise DeskError(f"{to} is a file: name a folder")
    if Path(os.path.abspath(to)) in (Path.cwd(), *Path.cwd().parents):
        raise DeskError(f"{to} is the folder you are in, or one around it: name another")
    names = {path.name for path in to.iterdir()}
    if not names:
        return
    mine, other = (PRACTICE, "") if practice else ("", PRACTICE)
    if f"{other}{DESCRIPTOR}" in names:
        sort = "real work" if practice else "practice"
        raise DeskError(f"{to} holds an export of {sort}: name another folder, so that they never mix")
    listed = _listed(to / f"{mine}{DESCRIPTOR}")
    if listed is None:
        raise DeskError(f"{to} is not empty and no earlier export: name a new folder")
    strange = sorted(names - {*listed, f"{mine}{DESCRIPTOR}"})
    if strange:
        raise DeskError(f"{to} holds {strange[0]}, which is not of an export: move it, or name another folder")


def _listed(descriptor: Path) -> list[str] | None:
    """The files an earlier export says it has; None if this is none of ours."""
    try:
        if not descriptor.is_file() or descriptor.stat().st_size > _LARGEST_DESCRIPTOR:
            return None
        names = names_in(json.loads(descriptor.read_bytes()))
    except (OSError, ValueError, RecursionError):
        return None
    return None if names is None else list(names)
