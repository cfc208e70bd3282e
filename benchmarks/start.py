"""How long fresh processes take: start-up, `check` on the demo, and what they rest on.

    python benchmarks/start.py

All rows are measured in turns in one run, so their ratios hold on any machine; the least of the
turns counts. The first turn compiles nothing anew if heyoka's on-disk cache is warm.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
TURNS = 5
MAIN = [sys.executable, "-m", "simcheck.cli.main"]
DEMO = str(ROOT / "cases" / "mars_ring.toml")
ROWS = {
    "bare Python": [sys.executable, "-c", "pass"],
    "import numpy": [sys.executable, "-c", "import numpy"],
    "import numpy and heyoka": [sys.executable, "-c", "import numpy, heyoka"],
    "simcheck --version": [*MAIN, "--version"],
    "simcheck plan, demo": [*MAIN, "plan", DEMO],
    "simcheck check, demo": [*MAIN, "check", DEMO],
}


def seconds(command: list[str]) -> float:
    """Wall time of one fresh process."""
    start = time.perf_counter()
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return time.perf_counter() - start


def main() -> None:
    """Print the least time of each row and its ratio to bare Python's."""
    turns = [{name: seconds(command) for name, command in ROWS.items()} for _ in range(TURNS)]
    least = {name: min(turn[name] for turn in turns) for name in ROWS}
    for name, value in least.items():
        print(f"{name:26s} {value:7.3f} s  {value / least['bare Python']:6.1f} x bare Python")


if __name__ == "__main__":
    main()
