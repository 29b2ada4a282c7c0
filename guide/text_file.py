"""Reads a text file that a person names: an ordinary one of a sensible size, in UTF-8; else one sentence says why."""

import stat
from pathlib import Path

from guide.errors import InputFileError

MOST_BYTES = 4_000_000
"""More than any programme, roster or list of tags takes; what is larger is some other file."""


def read_text_file(path: Path, most_bytes: int = MOST_BYTES) -> str:
    """The text of a file, with or without a byte order mark, line ends as ``\\n``; raises InputFileError."""
    try:
        found = path.lstat()
        if stat.S_ISLNK(found.st_mode):
            raise InputFileError(f"{path} is a link; name the file itself, so that it is clear what is read")
        if stat.S_ISDIR(found.st_mode):
            raise InputFileError(f"{path} is a folder; name a file in it")
        if not stat.S_ISREG(found.st_mode):
            raise InputFileError(f"{path} is no ordinary file; name a text file")
        if found.st_size > most_bytes:
            raise InputFileError(f"{path} has {found.st_size:,} bytes, more than {most_bytes:,}: name the right file")
        with path.open("rb") as file:
            data = file.read(most_bytes)
    except OSError as error:
        raise InputFileError(f"{path} can't be read: {error.strerror or error}") from None
    return _decoded(data, path)


def _decoded(data: bytes, path: Path) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in data:
        raise InputFileError(f"{path} is not UTF-8 text; save it as UTF-8, a spreadsheet as CSV UTF-8")
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputFileError(
            f"{path}:{line}: a letter is not UTF-8 (it may be Latin-1); save the file again as UTF-8"
        ) from None
