"""``trackkit check``: what is wrong with a track file, and what somebody has accepted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

from trackkit.checks.findings import SEVERITIES
from trackkit.cli.common import (
    Command,
    held_for_change,
    json_option,
    print_json,
    read_recordings,
    remark,
    units_option,
)
from trackkit.cli.many import are_many, each_track
from trackkit.cli.remedies import About, sentence
from trackkit.units import as_read, units

if TYPE_CHECKING:
    from trackkit.checks.findings import Finding
    from trackkit.held_files import HeldFile
    from trackkit.recordings.recording import Recording
    from trackkit.track.model import Track

_MOST_OF_A_RULE = 5


@click.command(cls=Command)
@click.argument("track_paths", metavar="TRACK|FOLDER...", nargs=-1, required=True)
@click.option(
    "--recording",
    "recording_paths",
    multiple=True,
    metavar="FILE",
    help="Judge by what a recording shows too; may be given several times.",
)
@click.option(
    "--accept",
    nargs=2,
    metavar="RULE FEATURE",
    help="Store in TRACK that this finding is accepted; FEATURE is - for the whole track.",
)
@click.option("--reason", metavar="TEXT", help="Why it is accepted.")
@click.option("--by", metavar="NAME", help="Who accepts it.")
@units_option
@json_option
@click.pass_context
def check(
    ctx: click.Context,
    track_paths: tuple[str, ...],
    recording_paths: tuple[str, ...],
    accept: tuple[str, str] | None,
    reason: str | None,
    by: str | None,
    as_json: bool,
) -> None:
    """Check a track file; exit with 1 when an error is not accepted.

    Other layouts of the same circuit in the same folder are compared where they share tarmac. Of
    several track files, or of a folder, a line each says how many findings there are.
    """
    from trackkit import check_file, judge_track
    from trackkit.checks.findings import marked
    from trackkit.cli.verdict_text import verdict_lines

    if accept is not None and not reason:
        raise click.UsageError("--accept needs a --reason, which is stored with it")
    if accept is None and (reason or by):
        raise click.UsageError("--reason and --by go with --accept")
    if are_many(track_paths):
        if recording_paths or accept is not None:
            raise click.UsageError("--recording and --accept go with one track file")
        _check_many(ctx, track_paths, as_json=as_json)
        return
    (track_path,) = track_paths
    ctx.params["track_path"] = track_path
    recordings, failed = read_recordings(recording_paths)
    held = held_for_change(track_path) if accept is not None else None
    track, findings = check_file(track_path, recordings)
    if track is None and recordings:
        remark("the recordings were not looked at: the track file has no usable geometry")
    if accept is not None:
        track = _accepted(track_path, track, findings, accept, str(reason), by, held)
        findings = marked(track, findings)
    recorded = bool(recordings)
    if as_json:
        print_json(_document(track, findings, track_path, recorded=recorded))
    else:
        lines = _finding_lines(findings, track_path, _names(track, recordings))
        for line in lines if findings else [f"{track_path}: nothing found"]:
            click.echo(line)
        if track is not None:
            judgement = judge_track(track, findings, recorded=recorded)
            for line in verdict_lines(judgement, track_path, track):
                click.echo(line)
    if failed or _is_wrong(findings):
        ctx.exit(1)


def _document(
    track: Track | None, findings: list[Finding], path: str, *, recorded: bool = False
) -> dict[str, Any]:
    from trackkit import judge_track
    from trackkit.cli.verdict_text import verdict_row

    verdict = None
    if track is not None:
        verdict = verdict_row(judge_track(track, findings, recorded=recorded), path)
    return {"findings": _rows(findings, path), "verdict": verdict}


def _rows(findings: list[Finding], path: str) -> list[dict[str, Any]]:
    about = About(path)
    return [f.as_row() | {"remedy": sentence(f.remedy, about)} for f in findings]


def _is_wrong(findings: list[Finding]) -> bool:
    return any(f.severity == "error" and not f.accepted for f in findings)


def _check_many(ctx: click.Context, paths: tuple[str, ...], *, as_json: bool) -> None:
    """Check many track files; a line each."""
    from trackkit import check_file

    done, failed = each_track(paths, lambda path: check_file(path, []), "checking")
    if as_json:
        rows = [{"file": path, **_document(*judged, path)} for path, judged in done]
        print_json({"tracks": rows})
    else:
        for path, (_, findings) in done:
            rules = dict.fromkeys(finding.rule for finding in findings if not finding.accepted)
            named = f" ({', '.join(rules)})" if rules else ""
            click.echo(f"{path}: {_tallies(findings)}{named}")
        if any(findings for _, (_, findings) in done):
            remark("checked by itself, a track file tells each finding, and what to do about it")
    if failed or any(_is_wrong(findings) for _, (_, findings) in done):
        ctx.exit(1)


def _accepted(
    path: str,
    track: Track | None,
    findings: list[Finding],
    which: tuple[str, str],
    reason: str,
    by: str | None,
    held: HeldFile | None,
) -> Track:
    """Store an acceptance in the track file."""
    from trackkit import accept_finding, write_track
    from trackkit.errors import TrackFileError

    if track is None or any(f.rule == "schema" for f in findings):
        raise TrackFileError(
            "breaks the format, which cannot be accepted", file=path, remedy="mend the file first"
        )
    rule, name = which
    feature = None if name == "-" else name
    changed = accept_finding(track, findings, rule, feature, reason=reason, by=by)
    return write_track(changed, path, held=held)


def _names(track: Track | None, recordings: Sequence[Recording]) -> tuple[str, ...]:
    """List names that findings hold."""
    from trackkit.track.names import names_in

    return (*(names_in(track) if track else ()), *(recording.name for recording in recordings))


def _finding_lines(
    findings: list[Finding], path: str, names: tuple[str, ...] = ()
) -> Iterator[str]:
    """Write findings for people; of many of one rule only the first few, and their count."""
    shown = Counter[str]()
    count = Counter(finding.rule for finding in findings)
    for finding in findings:
        shown[finding.rule] += 1
        if shown[finding.rule] <= _MOST_OF_A_RULE:
            yield finding_text(finding, path, names)
        elif shown[finding.rule] == count[finding.rule]:
            more = count[finding.rule] - _MOST_OF_A_RULE
            yield f"    and {more} more of {finding.rule} (--json lists them all)"
    yield f"{path}: {_tallies(findings)}"


def _tallies(findings: list[Finding]) -> str:
    """Count findings by severity, in words."""
    total = Counter(f.severity for f in findings if not f.accepted)
    tallies = [
        f"{total[severity]} {severity}{'' if total[severity] == 1 else 's'}"
        for severity in SEVERITIES
        if total[severity]
    ]
    accepted = sum(finding.accepted for finding in findings)
    if accepted:
        tallies.append(f"{accepted} accepted")
    return ", ".join(tallies) or "nothing found"


def finding_text(finding: Finding, path: str, names: tuple[str, ...] = ()) -> str:
    """Write a finding about a track file for people, on two lines.

    The names of gates and recordings that it may hold stay as they are in any units.
    """
    where = [f"feature {finding.feature}"] if finding.feature else []
    if finding.chainage_m is not None:
        where.append(f"at {units().length_text(finding.chainage_m, 1)}")
    if finding.position is not None:
        where.append(f"{finding.position[1]:.6f},{finding.position[0]:.6f}")
    state = " (accepted)" if finding.accepted else ""
    place = f" [{', '.join(where)}]" if where else ""
    return (
        f"{finding.severity}{state} {finding.rule}{place}: {as_read(finding.message, names)}\n"
        f"    to do: {as_read(sentence(finding.remedy, About(path)), (path, *names))}"
    )
