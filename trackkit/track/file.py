"""Track files: RFC 7946 GeoJSON with one foreign member that describes the circuit."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping
from functools import cache
from importlib import resources
from math import isinf
from typing import Any

from trackkit.budgets import budgets, require
from trackkit.errors import TrackFileError, TrackkitError, reading_failed
from trackkit.files import read_up_to, write_whole
from trackkit.held_files import HeldFile
from trackkit.remedies import Remedy
from trackkit.track.document import (
    FORMAT,
    LIST_FAULTS,
    VERSION,
    track_as_stated,
    track_from_document,
)
from trackkit.track.encoding import track_to_document
from trackkit.track.model import Track
from trackkit.track.thinned import thinned

_FROM_RECORDING = Remedy(
    "if it is a recording or a drawn line, build a track file from it",
    do="build",
)


@cache
def schema(version: str = VERSION) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a track file of version 1.0 or 1.1, as packaged."""
    file = resources.files("trackkit.track").joinpath(f"track-{version}.schema.json")
    text = file.read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def read_track(path: str | os.PathLike[str], *, validate: bool = True) -> Track:
    """Read a track file.

    Parameters
    ----------
    path
        The file.
    validate
        Check it against the schema first.  Without, faults are still refused, but in fewer
        words.

    Returns
    -------
    Track
        With all that the file holds, members that trackkit does not know included.  Chainages and
        order of gates, length and direction are those of the positions; where the file says
        otherwise, `Track.disagreements` tells.

    Raises
    ------
    TrackFileError
        When the file cannot be read, is no track file, is of a newer major version, or breaks
        the schema.

    Examples
    --------
    >>> import trackkit
    >>> track = trackkit.read_track(trackkit.open_library().find("pipwick-kart-circuit").path)
    >>> track.name, len(track.gates)
    ('Pipwick Kart Circuit', 3)
    """
    document = read_document(path)
    try:
        if validate:
            faults = schema_faults(document)
            if faults:
                place, what = faults[0]
                more = f" (and {len(faults) - 1} more faults)" if len(faults) > 1 else ""
                raise TrackFileError(
                    what + more,
                    place=place,
                    remedy=LIST_FAULTS,
                )
        return track_from_document(document)
    except TrackkitError as error:
        raise TrackFileError(
            error.what, file=path, place=error.place, remedy=error.remedy
        ) from error


def read_as_stated(path: str | os.PathLike[str]) -> Track:
    """Read a track file without the schema, and believe what it says of its geometry.

    Where only the line counts, many files are read in half the time that `read_track` takes.

    Raises
    ------
    TrackFileError
        As `read_track` does.
    """
    document = read_document(path)
    try:
        return track_as_stated(document)
    except TrackkitError as error:
        raise TrackFileError(
            error.what, file=path, place=error.place, remedy=error.remedy
        ) from error


def read_document(path: str | os.PathLike[str]) -> dict[str, Any]:
    """Read a file's JSON and check that it is a track file of a version trackkit can read.

    Raises
    ------
    TrackFileError
        When the file cannot be read, is not JSON, is no track file or of a newer major version.
    """
    try:
        data = read_up_to(path, budgets().unpacked_bytes + 1)
    except OSError as error:
        raise TrackFileError(reading_failed(path, error), file=path) from error
    if not data.strip():
        raise TrackFileError("is empty", file=path)
    require("unpacked_bytes", len(data), TrackFileError, "has at least", file=path)
    # Each has a bracket of its own, and takes far more room once it is read.
    require("vertices", data.count(b"["), TrackFileError, "has brackets for", file=path)
    try:
        document = json.loads(
            data.decode("utf-8-sig"),
            parse_constant=_refuse_constant,
            parse_float=_finite if _may_be_infinite(data) else None,
        )
        if _SURROGATE.search(data):
            # Half a surrogate pair parses, but no UTF-8 file can hold it (RFC 8259 section 8.2).
            json.dumps(document, ensure_ascii=False).encode()
    except UnicodeDecodeError as error:
        raise TrackFileError(
            "is not text, so it is no track file",
            file=path,
            remedy=_FROM_RECORDING,
        ) from error
    except json.JSONDecodeError as error:
        looks_like_json = data.lstrip()[:1] in b"{["
        what = (
            f"is not valid JSON ({error.msg}); it may be cut short"
            if looks_like_json
            else "is no track file (not JSON)"
        )
        raise TrackFileError(
            what,
            file=path,
            place=f"line {error.lineno}" if looks_like_json else None,
            remedy="copy it again, or build it again" if looks_like_json else _FROM_RECORDING,
        ) from error
    except (ValueError, RecursionError) as error:
        raise TrackFileError(f"is not valid JSON ({error})", file=path) from error
    described = document.get("track") if isinstance(document, dict) else None
    if not isinstance(described, dict) or described.get("format") != FORMAT:
        raise TrackFileError(
            "is JSON but no track file (it has no member `track` of the format trackkit-track)",
            file=path,
            remedy=_FROM_RECORDING,
        )
    version = str(described.get("version", ""))
    major = version.partition(".")[0]
    if major.isdigit() and int(major) > int(VERSION.partition(".")[0]):
        raise TrackFileError(
            f"is a track file of version {version}, newer than this trackkit reads ({VERSION})",
            file=path,
            remedy="install a newer trackkit",
        )
    _require_budgets(document, path)
    return dict(document)


def _require_budgets(document: dict[str, Any], path: str | os.PathLike[str]) -> None:
    """Refuse too many features before anything, the schema included, looks at each."""
    features = document.get("features")
    if not isinstance(features, list):
        return
    require("features", len(features), TrackFileError, "holds", file=path)
    properties = [feature.get("properties") for feature in features if isinstance(feature, dict)]
    roles = [members.get("role") for members in properties if isinstance(members, dict)]
    require("gates", roles.count("gate"), TrackFileError, "holds", file=path)


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is no JSON number")


_SURROGATE = re.compile(rb"\\u[dD][89a-fA-F]")
_DIGITS_ALIKE = bytes.maketrans(b"123456789E", b"000000000e")
_LARGE_EXPONENT = re.compile(rb"e\+?00+\s*[,\]}]")


def _may_be_infinite(data: bytes) -> bool:
    """Tell whether an exponent has two digits or more, or a number a hundred: others are finite.

    Looking at each number takes a fifth of the time of reading a file.
    """
    alike = data.translate(_DIGITS_ALIKE)
    return b"0" * 100 in alike or _LARGE_EXPONENT.search(alike) is not None


def _finite(text: str) -> float:
    value = float(text)
    if isinf(value):
        raise ValueError(f"{text} is too large a number")
    return value


def schema_faults(document: Mapping[str, Any]) -> list[tuple[str, str]]:
    """List where a document breaks the schema of its version, as pairs of place and what is wrong.

    A version that is newer, or none at all, is held against the newest schema.
    """
    from jsonschema import Draft202012Validator
    from jsonschema.exceptions import best_match

    faults = []
    described = document.get("track")
    first = isinstance(described, dict) and described.get("version") == "1.0"
    against = Draft202012Validator(schema("1.0") if first else schema())
    for error in against.iter_errors(thinned(document)):
        # if/then branches report through their children; the deepest is the one to say.
        leaf = best_match([error]) or error
        # Of "not", only the schema's own description says what is asked.
        what = str(leaf.schema["description"]) if leaf.validator == "not" else leaf.message
        faults.append((_place_in(document, list(leaf.absolute_path)), _shortened(what)))
    return sorted(set(faults))


def _place_in(document: Mapping[str, Any], path: list[str | int]) -> str:
    if len(path) >= 2 and path[0] == "features" and isinstance(path[1], int):
        feature = document["features"][path[1]]
        name = feature.get("id") if isinstance(feature, dict) else None
        start = f"feature {name}" if isinstance(name, str) else f"feature number {path[1] + 1}"
        rest = ".".join(str(part) for part in path[2:])
        return f"{start}, {rest}" if rest else start
    return ".".join(str(part) for part in path) or "top level"


def _shortened(message: str, most: int = 160) -> str:
    return message if len(message) <= most else f"{message[: most // 2]} … {message[-most // 2 :]}"


def track_text(track: Track) -> str:
    """Write a track as the text of a track file: one feature a line, so that diffs are short."""
    return document_text(track_to_document(track))


def document_text(document: Mapping[str, Any]) -> str:
    """Write the document of a track as the text of a track file."""
    compact = {"ensure_ascii": False, "allow_nan": False}
    lines = []
    for key, value in document.items():
        if key == "features":
            features = ",\n    ".join(json.dumps(f, **compact) for f in value)  # type: ignore[arg-type]
            lines.append(f'  "features": [\n    {features}\n  ]')
        elif key == "track":
            text = json.dumps(value, indent=2, **compact)  # type: ignore[arg-type]
            lines.append('  "track": ' + text.replace("\n", "\n  "))
        else:
            lines.append(f"  {json.dumps(key)}: {json.dumps(value, **compact)}")  # type: ignore[arg-type]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def write_track(
    track: Track,
    path: str | os.PathLike[str],
    *,
    force: bool = False,
    held: HeldFile | None = None,
) -> Track:
    """Write a track file whole or not at all; see `trackkit.files.whole_file`.

    What is written is `stored` of the track, so that a file that is read and written again stays
    the same, byte for byte.

    Parameters
    ----------
    track
        The track.
    path
        The file.
    force
        Whether a file that exists is replaced; it stays beside the new one, with ``~`` appended.
    held
        The file as it was when the change was decided on (`trackkit.held_files.hold`): it is
        replaced, and stays beside the new one, unless somebody else changed it since.

    Returns
    -------
    Track
        The track as it reads back from the file.

    Raises
    ------
    TrackFileError
        When the track would break the schema; nothing is written then.
    OutputError
        When the file exists and `force` is false, when it was changed since it was taken hold
        of, or when it cannot be written.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> written = trackkit.write_track(track, "own.geojson", force=True)
    >>> trackkit.read_track("own.geojson").name
    'Pipwick Kart Circuit'
    """
    document = track_to_document(track)
    faults = schema_faults(document)
    if faults:
        place, what = faults[0]
        raise TrackFileError(f"the track would break the format: {what}", place=place)
    kept = track_from_document(json.loads(document_text(document)))
    if held is None:
        write_whole(path, track_text(kept), force=force, keep_previous=True)
    else:
        held.replace(track_text(kept))
    return kept


def stored(track: Track) -> Track:
    """Return the track as it reads back from its file, rounded to the format's decimals."""
    return track_from_document(json.loads(track_text(track)))
