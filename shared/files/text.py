"""Text files of a studio folder: read with every way that this can fail told in words, written whole or not at all."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from shared.errors import RequestError
from shared.files.fault_list import FaultList
from shared.files.values import nearest
from shared.texts import say

LARGEST_BYTES = 5_000_000
"""Largest studio file that is read [byte]; house choice: some 30 000 loads. Above it is no file of the wanted kind."""


def read_text(
    path: Path, faults: FaultList, largest_bytes: int = LARGEST_BYTES, missing: str | None = None
) -> str | None:
    """The text of a file, without a byte-order mark; None, and a fault, where there is none to be had.

    ``missing`` is how to come by a file of this kind that is not there.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            faults.add("", say("fault.folder_not_file"), say("fault.put_file_that"))
            return None
        if not stat.S_ISREG(status.st_mode):
            faults.add("", say("fault.not_ordinary_file"), say("fault.put_ordinary_file"))
            return None
        if status.st_size > largest_bytes:
            faults.add(
                "",
                say("fault.has_mb", megabytes=status.st_size / 1000000.0),
                say("fault.keep_under_mb", megabytes=largest_bytes / 1000000.0),
            )
            return None
        content = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        faults.add("", say("fault.is_not_there_2"), _missing_remedy(path, missing))
        return None
    except PermissionError:
        faults.add("", say("fault.may_not_be_read"), say("fault.give_this_user_right"))
        return None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else say("fault.name_not_files")
        faults.add("", say("fault.cannot_be_read", reason=reason.lower()), say("fault.check_disk_files"))
        return None
    return decoded(content, faults)


def _missing_remedy(path: Path, missing: str | None) -> str:
    with suppress(OSError, ValueError):
        other = nearest(path.name, sorted(entry.name for entry in path.parent.iterdir())[:1000])
        if other is not None:
            return say("fault.there_that_one", other=other, file=path.name)
    return missing or say("fault.write_name_folder", file=path.name)


def decoded(content: bytes, faults: FaultList) -> str | None:
    """The text that a file's bytes are; None, and a fault, where they are none."""
    remedy = say("fault.save_utf_8")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        faults.add("", say("fault.is_utf_16"), remedy)
        return None
    nul = content.find(b"\0")
    if nul >= 0:
        line = content.count(b"\n", 0, nul) + 1
        faults.add(say("fault.line", line=line), say("fault.holds_zero_byte"), say("fault.save_again_plain"))
        return None
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        faults.add(say("fault.line", line=line), say("fault.not_utf_8", byte=content[error.start]), remedy)
        return None


def write_whole(texts: Mapping[Path, str]) -> None:
    """Write files so that each is either the old one or the new one, whole, whatever happens meanwhile.

    All are written beside their places first, and moved there only when every one is safe on the disk.

    Raises
    ------
    RequestError
        If a file cannot be written; the old ones are then still there.
    """
    waiting: list[tuple[Path, Path]] = []
    place = Path()
    try:
        for place, text in texts.items():
            waiting.append((_written_beside(place, text), place))
        for temporary, place in waiting:
            temporary.replace(place)
        for folder in {place.parent for place in texts}:
            _settle(folder)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise RequestError(say("fault.cannot_written_check", file=place.name, reason=reason.lower())) from None
    finally:
        for temporary, _ in waiting:
            with suppress(OSError):
                temporary.unlink(missing_ok=True)


def _written_beside(place: Path, text: str) -> Path:
    descriptor, name = tempfile.mkstemp(prefix=f".{place.name}.", suffix=".new", dir=place.parent)
    temporary = Path(name)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8", newline="") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.chmod(_mode(place))
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def _mode(place: Path) -> int:
    # A new file gets what the user's umask leaves of rw-rw-rw-; a replaced one keeps its own.
    with suppress(OSError):
        return stat.S_IMODE(place.stat().st_mode)
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _settle(folder: Path) -> None:
    # The renames themselves reach the disk only with the folder; not every system can do that to a folder.
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
