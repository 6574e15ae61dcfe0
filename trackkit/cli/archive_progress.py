"""How far the timing of many recordings has come, on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def rate_shown() -> Iterator[Callable[[int, int], None]]:
    """Show on a terminal how many are done, how many a minute, and how long the rest takes."""
    if not sys.stderr.isatty():
        yield lambda done, of: None  # noqa: ARG005
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        ProgressColumn,
        Task,
        TextColumn,
        TimeRemainingColumn,
    )
    from rich.text import Text

    class Rate(ProgressColumn):
        def render(self, task: Task) -> Text:
            return Text("" if not task.speed else f"{60 * task.speed:,.0f} a minute")

    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        Rate(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task("timing recordings", total=None)
        yield lambda done, of: bar.update(task, completed=done, total=of)
