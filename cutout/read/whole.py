"""What a file of the user's holds, or one line on why it can't be had."""

from __future__ import annotations

from pathlib import Path

from cutout.errors import ReadError, shown
from cutout.regular import read_whole


def file_bytes(path: Path, most: int, what: str, within: str) -> bytes:
    """The bytes of a regular file of no more than `most`; what: it is to be, within: what it is to hold.

    Raises ReadError for whatever stands in the way.
    """
    named = shown(path)
    try:
        if path.is_dir():
            raise ReadError(f"{named}: is a folder: name the {within} in it.")
        return read_whole(path, most)
    except FileNotFoundError as error:
        raise ReadError(f"{named}: there is no such {what}: check the name and the folder.") from error
    except PermissionError as error:
        raise ReadError(f"{named}: may not be read: check its permissions.") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise ReadError(f"{named}: can't be read ({reason}): use a {within} in a file.") from error
