"""Information of the operating system about a disk: the reason of an error, and whether it is a network drive."""

from __future__ import annotations

import errno
import sys
from pathlib import Path

__all__ = ["mount_type", "on_network", "words_of"]


def words_of(wrong: OSError) -> str:
    """Return the reason of a write error, as the end of a sentence."""
    if wrong.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return "the disk is full"
    if wrong.errno in (errno.EACCES, errno.EPERM):
        return "this folder may not be written to"
    if wrong.errno == errno.EROFS:
        return "the disk is read-only"
    return (wrong.strerror or "the disk reports a fault").lower()


def on_network(folder: Path) -> bool:
    """Return True if a folder is known to be on a network drive, where shared memory is not available."""
    if sys.platform == "win32":
        import ctypes

        return ctypes.windll.kernel32.GetDriveTypeW(folder.anchor) == 4  # DRIVE_REMOTE
    try:
        mounts = Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return False
    return mount_type(mounts, folder.resolve()) in ("nfs", "nfs4", "cifs", "smb3", "afs", "ceph", "fuse.sshfs", "9p")


def mount_type(mounts: str, folder: Path) -> str:
    """Return the type of the file system that a folder is on, from the text of ``/proc/self/mounts``.

    Examples
    --------
    >>> mount_type("a / ext4 rw 0 0\\nb /net/my\\\\040disk nfs4 rw 0 0\\n", Path("/net/my disk/x"))
    'nfs4'
    """
    best, kind = -1, ""
    for line in mounts.splitlines():
        point = Path(line.split(" ")[1].replace("\\040", " "))
        if folder.is_relative_to(point) and len(point.parts) >= best:
            best, kind = len(point.parts), line.split(" ")[2]
    return kind
