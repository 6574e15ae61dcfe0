"""What MkDocs does besides, for the site: notebooks are executed, links out of docs/ made whole."""

from __future__ import annotations

import os
import re
import resource
import tomllib
from pathlib import Path, PurePosixPath
from typing import Any

import nbformat
from mkdocs.config.defaults import MkDocsConfig
from mkdocs.plugins import get_plugin_logger
from mkdocs.structure.files import File, Files
from nbclient import NotebookClient
from nbconvert.exporters import MarkdownExporter
from traitlets.config import Config

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = ROOT / "docs" / "notebooks"
LONGEST_S = 20.0
"""A notebook that computes for longer tries a reader's patience."""
OWN_FILES = {
    "stylesheets/site.css": "site.css",
    "javascripts/iframe-worker.js": "iframe-worker.js",
}
_LINK_OUT = re.compile(r"\]\((?:\.\./)+((?:(?:trackkit|tracks|tests)/|[A-Z]+)[^)\s]*)\)")
_LINK_TO_NOTEBOOK = re.compile(r"\]\(((?:notebooks/)?[a-z-]+)\.ipynb\)")
_MARK = re.compile(r'<div data-output="[a-z-]+-\d+"></div>')
_HTML: dict[str, str] = {}

log = get_plugin_logger("trackkit")
# More threads of linear algebra would only wait for each other; notebooks inherit it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def project_address(name: str) -> str:
    """Read an address of the project from pyproject.toml, where it stands once for all."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    return str(project["urls"][name])


def on_files(files: Files, config: MkDocsConfig) -> Files:
    """Execute every notebook and add what comes of it as pages."""
    for path in sorted(NOTEBOOKS.glob("*.ipynb")):
        page = f"notebooks/{path.stem}.md"
        text, pictures = executed(path)
        files.append(File.generated(config, page, content=text))
        for name, data in pictures.items():
            files.append(File.generated(config, f"notebooks/{name}", content=data))
    for page, name in OWN_FILES.items():
        content = (Path(__file__).parent / name).read_text("utf-8")
        files.append(File.generated(config, page, content=content))
    return files


def executed(path: Path) -> tuple[str, dict[str, bytes]]:
    """Execute one notebook in the folder of the project, and write it as Markdown with pictures."""
    notebook = nbformat.read(path, as_version=4)
    before_s = _computed_by_children_s()
    NotebookClient(
        notebook,
        # Between the two processes only: nothing listens on the network.
        config=Config({"KernelManager": {"transport": "ipc"}}),
        resources={"metadata": {"path": str(ROOT)}},
        timeout=120,
    ).execute()
    taken_s = _computed_by_children_s() - before_s
    # No warning, which would end a strict build: a slow machine makes no lesson wrong.
    remark = f", more than the {LONGEST_S:g} s of a lesson" if taken_s > LONGEST_S else ""
    log.info("%s computed for %.1f s%s", path.name, taken_s, remark)
    _set_html_aside(notebook, path.stem)
    exporter = MarkdownExporter()
    text, found = exporter.from_notebook_node(
        notebook, resources={"unique_key": path.stem, "output_files_dir": path.stem}
    )
    return text, {str(PurePosixPath(name)): data for name, data in found["outputs"].items()}


def _computed_by_children_s() -> float:
    """Read how long processes that were started and have ended computed, whatever else ran."""
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    return usage.ru_utime + usage.ru_stime


def _set_html_aside(notebook: nbformat.NotebookNode, stem: str) -> None:
    """Put a mark where an output is HTML: as Markdown it would not come through unchanged."""
    for cell in notebook.cells:
        for output in cell.get("outputs", ()):
            if "text/html" in output.get("data", {}):
                mark = f'<div data-output="{stem}-{len(_HTML)}"></div>'
                _HTML[mark] = output.data["text/html"]
                output.data["text/html"] = mark


def on_page_markdown(markdown: str, **_: Any) -> str:
    """Lead links where the site has what they mean.

    Links out of docs/, which a code host follows, go to the project's address; those to a notebook
    go to its page.
    """
    source = project_address("Source")
    markdown = _LINK_OUT.sub(rf"]({source}/blob/main/\1)", markdown)
    return _LINK_TO_NOTEBOOK.sub(r"](\1.md)", markdown)


def on_page_content(html: str, **_: Any) -> str:
    """Put outputs that are HTML back in their places."""
    return _MARK.sub(lambda mark: f'<div class="output">{_HTML[mark[0]]}</div>', html)
