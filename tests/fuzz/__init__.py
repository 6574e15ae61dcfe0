"""A campaign of damaged and odd files: whatever a file holds, trackkit says a sentence about it.

``python -m tests.fuzz`` makes inputs from valid files (`seeds`), damages them (`mutate`) or makes
odd ones by hand (`odd`), gives them to the library and to whole commands (`targets`) within limits
of time and memory (`limits`), and keeps the smallest input of each kind of fault (`shrink`,
`campaign`).  An input is told by two numbers, the campaign's seed and its own, so that each can be
made again.  `corpus/` holds the smallest input of each fault that was ever found, and
`test_corpus` says what must come of each.
"""

import sys
from pathlib import Path

# As pytest has it: what writes files for tests is shared.
sys.path.append(str(Path(__file__).parents[1] / "shared"))
