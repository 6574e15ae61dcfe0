"""Files of a folder or of an object store, listed and removed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from trackkit.archive.address import is_store
from trackkit.archive.engines import engine


def stored_files(place: str) -> list[str]:
    """List all files at a place and below it.

    Returns
    -------
    list of str
        Their paths from there, with slashes.
    """
    if not is_store(place):
        # Listed by the system: delta-rs does not show what a writer that was killed left over.
        folder = Path(place)
        return sorted(
            path.relative_to(folder).as_posix()
            for path in folder.rglob("*")
            if path.is_symlink() or not path.is_dir()
        )
    fs = engine("pyarrow.fs")
    listed = _store(place).get_file_info(fs.FileSelector("", recursive=True, allow_not_found=True))
    return sorted(info.path for info in listed if info.type == fs.FileType.File)


def remove_file(place: str, name: str) -> None:
    """Remove a file, which may be gone already.

    Parameters
    ----------
    place
        A folder or an address.
    name
        The file's path from there, as `stored_files` lists it.
    """
    if is_store(place):
        store = _store(place)
        if store.get_file_info([name])[0].is_file:
            store.delete_file(name)
    else:
        (Path(place) / name).unlink(missing_ok=True)


def _store(place: str) -> Any:
    """Open an object store with the keys that delta-rs finds in its environment."""
    return engine("pyarrow.fs").PyFileSystem(engine("deltalake.fs").DeltaStorageHandler(place))
