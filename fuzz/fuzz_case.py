"""Fuzz one door of text files: ``python fuzz/fuzz_case.py --door case -runs=100000 -rss_limit_mb=1024``.

Doors: case (case.toml), table (a study's CSV), journal (visits; half of the inputs get right checksums), measured
(measured.toml), wear (a sensor's CSV).
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from fuzz.run import run

if __name__ == "__main__":
    run(("case", "table", "journal", "measured", "wear"))
