"""Lets the tests here import the campaign, which is a package and no part of trackkit."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1]))
