"""What is given to trackkit: a file's bytes, and what they are meant to be."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Kind = Literal["recording", "line", "drawing", "track", "official"]


@dataclass(frozen=True)
class Document:
    """A file as it is given to trackkit.

    Parameters
    ----------
    kind
        What somebody would use it as.
    name
        Its file name; the suffix only helps people, trackkit looks at the content.
    data
        Its bytes.
    story
        How it came about, for the report.
    """

    kind: Kind
    name: str
    data: bytes
    story: str

    def changed(self, data: bytes, how: str) -> Document:
        """Return the document with other bytes."""
        return replace(self, data=data, story=f"{self.story}, {how}")


def document_of(kind: Kind, name: str, text: str | bytes, story: str) -> Document:
    """Make a document of text; half surrogates and all."""
    data = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    return Document(kind, name, data, story)
