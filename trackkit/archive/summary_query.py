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


def _keys(by: Sequence[str], relation: str = "counted") -> str:
    return ", ".join(f'{relation}."{name}"' for name in (*_GROUP, *by))


def _same(left: str, right: str, by: Sequence[str]) -> str:
    """Match the groups of two relations; what is not known is a group too."""
    return " AND ".join(
        f'{left}."{name}" IS NOT DISTINCT FROM {right}."{name}"' for name in (*_GROUP, *by)
    )


def counted_query(by: Sequence[str], where: str) -> str:
    """Write what gathers the laps that are summed up, with what a summary needs of them."""
    of_session = ("name", "layout", "day", "recording", "session")
    names = dict.fromkeys((*_GROUP, *by, *of_session, "lap", "begun", "time_s", "sigma_s"))
    columns = ", ".join(f'"{name}"' for name in names)
    return f"CREATE TEMP TABLE counted AS SELECT {columns} FROM all_laps WHERE {where}"  # noqa: S608


def summary_query(by: Sequence[str]) -> str:
    """Write the query of a summary: a row a group, with the columns `FIGURES`."""
    keys = _keys(by)
    others = "".join(f', best."{name}"' for name in by)
    return f"""
    WITH best AS MATERIALIZED (
        SELECT {keys}, count(*) AS laps, count(DISTINCT counted.day) AS days,
            min(counted.day) AS first_day, max(counted.day) AS last_day,
            coalesce(arg_max(name, begun), any_value(name)) AS name,
            coalesce(arg_max(layout, begun), any_value(layout)) AS layout,
            min(time_s) AS time_s, arg_min(sigma_s, time_s) AS sigma_s, median(time_s) AS median_s
        FROM counted GROUP BY {keys}),
    equals AS (
        SELECT {_keys(by, "best")}, count(*) AS equal FROM counted JOIN best
        ON {_same("counted", "best", by)}
            AND counted.time_s - best.time_s <= sqrt({_BEHIND.format("counted", "best")})
        GROUP BY {_keys(by, "best")}),
    runs AS (
        SELECT {keys}, count(*) - 1 AS free, var_samp(time_s) AS variance
        FROM counted GROUP BY {keys}, recording, session),
    steady AS (
        SELECT {_keys(by, "runs")}, count(*) AS sessions,
            sqrt(sum(free * variance) / nullif(sum(free), 0)) AS consistency_s
        FROM runs GROUP BY {_keys(by, "runs")}),
    day_bests AS (
        SELECT {keys}, day AS on_day, min(time_s) AS time_s, arg_min(sigma_s, time_s) AS sigma_s
        FROM counted WHERE day IS NOT NULL GROUP BY {keys}, on_day),
    ends AS (
        SELECT {_keys(by, "day_bests")},
            arg_max(time_s, on_day) - arg_min(time_s, on_day) AS progress_s,
            sqrt(arg_max(sigma_s, on_day) ^ 2 + arg_min(sigma_s, on_day) ^ 2) AS progress_sigma_s
        FROM day_bests GROUP BY {_keys(by, "day_bests")} HAVING count(*) > 1)
    SELECT best.track, best.name, best.layout, best.direction{others},
        best.laps, steady.sessions, best.days, best.first_day, best.last_day,
        best.time_s AS best_s, best.sigma_s AS best_sigma_s, equals.equal, best.median_s,
        steady.consistency_s, ends.progress_s, ends.progress_sigma_s
    FROM best JOIN equals ON {_same("best", "equals", by)}
    JOIN steady ON {_same("best", "steady", by)}
    LEFT JOIN ends ON {_same("best", "ends", by)}
    ORDER BY best.track, best.direction, best.time_s
    """  # noqa: S608 - names of ours; values are bound


def records_query(by: Sequence[str]) -> str:
    """Write the query of records: the best lap of each group and those equal to it."""
    group = _keys(by)
    return f"""
    WITH best AS MATERIALIZED (
        SELECT {group}, min(time_s) AS time_s, arg_min(sigma_s, time_s) AS sigma_s
        FROM counted GROUP BY {group}),
    equals AS MATERIALIZED (
        SELECT {group}, counted.recording, counted.session, counted.lap,
            row_number() OVER (
                PARTITION BY {group} ORDER BY counted.time_s, counted.begun, counted.recording,
                counted.lap) AS place
        FROM counted JOIN best ON {_same("counted", "best", by)}
            AND counted.time_s - best.time_s <= sqrt({_BEHIND.format("counted", "best")}))
    SELECT all_laps.*, equals.place FROM all_laps
    JOIN (FROM equals WHERE place <= {MOST_RECORDS}) AS equals USING (recording, session, lap)
    ORDER BY {_keys(by, "equals")}, equals.place
    """  # noqa: S608 - names of ours; values are bound
