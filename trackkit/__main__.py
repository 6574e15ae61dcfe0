"""Run trackkit as ``python -m trackkit``."""

from trackkit.cli import main

main()
