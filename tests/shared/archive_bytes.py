"""All bytes of an archive, as they lie in its files and as they are when they are decompressed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq


def tells_of(at: Path, words: list[str]) -> dict[str, list[str]]:
    """List the files of an archive that hold some words, whatever the case, in any form.

    Parquet files are searched as they are, and so is each value of their columns, of the
    dictionaries of their pages (also values that no row has any more) and of their statistics.
    """
    telling: dict[str, list[str]] = {word: [] for word in words}
    for path in sorted(at.rglob("*")):
        if not path.is_file():
            continue
        name = path.relative_to(at).as_posix()
        texts = [name.encode().lower(), path.read_bytes().lower(), *_decoded(path)]
        for word in words:
            if any(word.lower().encode() in text for text in texts):
                telling[word].append(name)
    return telling


def _decoded(path: Path) -> Iterator[bytes]:
    if path.read_bytes()[:4] != b"PAR1":
        return
    file = pq.ParquetFile(path)
    names = [
        file.schema.column(place).path
        for place in range(len(file.schema))
        if file.schema.column(place).physical_type == "BYTE_ARRAY"
    ]
    # As dictionaries, so that each value is told once, whether a row has it or not.
    for column in pq.ParquetFile(path, read_dictionary=names).read().columns:
        for chunk in column.chunks:
            dictionary = getattr(chunk, "dictionary", None)
            if dictionary is not None:
                yield repr(dictionary.to_pylist()).lower().encode()
            elif not pa.types.is_primitive(chunk.type):
                yield repr(chunk.to_pylist()).lower().encode()
    yield repr(file.metadata.metadata).lower().encode()
    for group in range(file.metadata.num_row_groups):
        yield repr(file.metadata.row_group(group).to_dict()).lower().encode()
