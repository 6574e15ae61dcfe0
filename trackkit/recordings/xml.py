"""XML parsed safely: without entities, external definitions or the network."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from trackkit.errors import RecordingError
from trackkit.recordings.raw import single_line

_SAFELY: dict[str, Any] = {
    "resolve_entities": False,
    "no_network": True,
    "load_dtd": False,
    "dtd_validation": False,
    "attribute_defaults": False,
    "huge_tree": False,
    "remove_comments": True,
    "remove_pis": True,
}


def parse_xml(data: bytes, path: str | os.PathLike[str]) -> Any:
    """Parse XML without resolving entities, loading definitions or touching the network.

    Parameters
    ----------
    data
        The document, in any encoding XML knows.
    path
        The file it came from, for sentences.

    Returns
    -------
    The root element (lxml), without comments and processing instructions.

    Raises
    ------
    RecordingError
        The document is not well-formed, or declares entities of its own.
    """
    from lxml import etree

    with _refused(path):
        root = etree.fromstring(data, etree.XMLParser(**_SAFELY))
    _refuse_entities(root, path)
    return root


def elements_of_xml(data: bytes, path: str | os.PathLike[str], *names: str) -> Iterator[Any]:
    """Parse XML as `parse_xml` does, and hand on the elements of some local names one by one.

    What has been handed on is let go of: a document in memory is more than ten times its file.

    Parameters
    ----------
    data, path
        As for `parse_xml`.
    names
        The local names, in any namespace.

    Yields
    ------
    Each element, with its ancestors, when it has been read.

    Raises
    ------
    RecordingError
        As `parse_xml` does, after the elements before the fault.
    """
    from lxml import etree

    with _refused(path):
        tags = [f"{{*}}{name}" for name in names]
        reading = etree.iterparse(io.BytesIO(data), ("end",), tag=tags, **_SAFELY)
        for _, element in reading:
            yield element
            holder = element.getparent()
            element.clear()
            while holder is not None and holder[0] is not element:
                del holder[0]
    _refuse_entities(reading.root, path)


@contextmanager
def _refused(path: str | os.PathLike[str]) -> Iterator[None]:
    from lxml import etree

    try:
        yield
    except etree.XMLSyntaxError as error:
        message = single_line(error).split(", line ")[0]
        raise RecordingError(
            f"its XML is broken or breaks off ({message})",
            file=path,
            place=f"line {error.lineno or 1}",
            remedy="save or copy it again",
        ) from error


def _refuse_entities(root: Any, path: str | os.PathLike[str]) -> None:
    declared = root.getroottree().docinfo.internalDTD
    if declared is not None and any(True for _ in declared.iterentities()):
        raise RecordingError(
            "its document type declaration defines entities, which trackkit refuses for safety",
            file=path,
            remedy="save it without a document type declaration",
        )


def local_name(element: Any) -> str:
    """Give an element's name without its namespace, or "" for what is no element."""
    tag = element.tag
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def xml_text(text: str) -> str:
    """Leave out the characters that XML 1.0 cannot hold (section 2.2 of the recommendation)."""
    return "".join(
        c
        for c in text
        if c in "\t\n\r" or (c >= " " and not "\ud800" <= c <= "\udfff" and c not in "\ufffe\uffff")
    )
