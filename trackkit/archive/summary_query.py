"""Laps summed up and records listed, in SQL."""

from __future__ import annotations

from collections.abc import Sequence

BY = ("class", "driver", "vehicle", "day")
"""What laps of one circuit may be told apart by."""
_GROUP = ("track", "direction")
MOST_RECORDS = 10
"""So many records of a group are listed at most."""
FIGURES = (
    "laps",
    "sessions",
    "days",
    "first_day",
    "last_day",
    "best_s",
    "best_sigma_s",
    "equal",
    "median_s",
    "consistency_s",
    "progress_s",
    "progress_sigma_s",
)
"""Of each group: how many laps count, in how many sessions on how many days, the best lap, how many
laps cannot be told from it (itself included), the median, the standard deviation of laps about the
mean of their session (pooled; textbook, from memory), and by how much the best lap of the last day
is slower than that of the first."""

_BEHIND = "coalesce({0}.sigma_s, 0) ^ 2 + coalesce({1}.sigma_s, 0) ^ 2"


def numbered_query(by: Sequence[str]) -> str:
    """Write what numbers sessions, and the groups they are of.

    Laps are then grouped and joined by numbers, which is much faster than by the long keys of the
    tables.  What is not known is a group too.
    """
    group = ", ".join(f'"{name}"' for name in (*_GROUP, *by))
    return f"""
    CREATE TEMP TABLE numbered AS SELECT sessions.*, row_number() OVER () AS run,
        dense_rank() OVER (ORDER BY {group}) AS in_group
    FROM sessions
    """  # noqa: S608 - names of ours


def counted_query(where: str) -> str:
    """Write what gathers the laps that are summed up, with what a summary needs of them."""
    return f"""
    CREATE TEMP TABLE counted AS SELECT in_group, run, lap, begun, time_s, sigma_s
    FROM (
        SELECT numbered.* EXCLUDE (begun), laps.lap, laps.begun, laps.counts, laps.time_s,
            laps.sigma_s
        FROM stored_laps AS laps JOIN numbered USING (recording, geometry, session))
    WHERE {where}
    """  # noqa: S608 - values are bound


def summary_query(by: Sequence[str]) -> str:
    """Write the query of a summary: a row a group, with the columns `FIGURES`."""
    others = "".join(f', names."{name}"' for name in by)
    return f"""
    WITH best AS MATERIALIZED (
        SELECT in_group, count(*) AS laps, min(time_s) AS time_s,
            arg_min(sigma_s, time_s) AS sigma_s, median(time_s) AS median_s
        FROM counted GROUP BY in_group),
    equals AS (
        SELECT in_group, count(*) AS equal FROM counted JOIN best USING (in_group)
        WHERE counted.time_s - best.time_s <= sqrt({_BEHIND.format("counted", "best")})
        GROUP BY in_group),
    runs AS MATERIALIZED (
        SELECT in_group, run, count(*) - 1 AS free, var_samp(time_s) AS variance,
            max(begun) AS begun, min(time_s) AS time_s, arg_min(sigma_s, time_s) AS sigma_s
        FROM counted GROUP BY in_group, run),
    names AS (
        SELECT runs.in_group, {", ".join(f'any_value("{name}") AS "{name}"' for name in by)}
            {"," if by else ""} any_value(track) AS track, any_value(direction) AS direction,
            coalesce(arg_max(name, runs.begun), any_value(name)) AS name,
            coalesce(arg_max(layout, runs.begun), any_value(layout)) AS layout
        FROM runs JOIN numbered USING (run) GROUP BY runs.in_group),
    steady AS (
        SELECT in_group, count(*) AS sessions,
            sqrt(sum(free * variance) / nullif(sum(free), 0)) AS consistency_s
        FROM runs GROUP BY in_group),
    day_bests AS (
        SELECT runs.in_group, day, min(time_s) AS time_s, arg_min(sigma_s, time_s) AS sigma_s
        FROM runs JOIN numbered USING (run) WHERE day IS NOT NULL GROUP BY runs.in_group, day),
    dated AS (
        SELECT in_group, count(*) AS days, min(day) AS first_day, max(day) AS last_day
        FROM day_bests GROUP BY in_group),
    ends AS (
        SELECT in_group, arg_max(time_s, day) - arg_min(time_s, day) AS progress_s,
            sqrt(arg_max(sigma_s, day) ^ 2 + arg_min(sigma_s, day) ^ 2) AS progress_sigma_s
        FROM day_bests GROUP BY in_group HAVING count(*) > 1)
    SELECT names.track, names.name, names.layout, names.direction{others},
        best.laps, steady.sessions, coalesce(dated.days, 0) AS days, dated.first_day,
        dated.last_day,
        best.time_s AS best_s, best.sigma_s AS best_sigma_s, equals.equal, best.median_s,
        steady.consistency_s, ends.progress_s, ends.progress_sigma_s
    FROM best JOIN equals USING (in_group) JOIN steady USING (in_group)
    JOIN names USING (in_group) LEFT JOIN dated USING (in_group) LEFT JOIN ends USING (in_group)
    ORDER BY names.track, names.direction, best.time_s
    """  # noqa: S608 - names of ours; values are bound


def records_query() -> str:
    """Write the query of records: the best lap of each group and those equal to it."""
    return f"""
    WITH best AS MATERIALIZED (
        SELECT in_group, min(time_s) AS time_s, arg_min(sigma_s, time_s) AS sigma_s
        FROM counted GROUP BY in_group),
    equals AS MATERIALIZED (
        SELECT in_group, numbered.recording, numbered.session, counted.lap,
            row_number() OVER (
                PARTITION BY in_group ORDER BY counted.time_s, counted.begun, numbered.recording,
                counted.lap) AS place
        FROM counted JOIN best USING (in_group) JOIN numbered USING (in_group, run)
        WHERE counted.time_s - best.time_s <= sqrt({_BEHIND.format("counted", "best")}))
    SELECT all_laps.*, equals.place FROM all_laps
    JOIN (FROM equals WHERE place <= {MOST_RECORDS}) AS equals USING (recording, session, lap)
    ORDER BY equals.in_group, equals.place
    """  # noqa: S608 - names of ours; values are bound
